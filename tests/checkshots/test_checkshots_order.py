"""A shot counts at its chainage, whenever it comes; what does not count changes nothing."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

FIELDS = (
    "line_mm", "line_sd_mm", "level_mm", "level_sd_mm", "yaw_mm_per_m", "yaw_sd_mm_per_m", "pitch_mm_per_m",
    "pitch_sd_mm_per_m",
)  # fmt: skip
EXACT = 1e-9


def figures(drive):
    """All that the estimate says: the face now, and the path as driven."""
    estimate, path = drive.advice().estimate, drive.smoothed()
    now = [getattr(estimate, name) for name in FIELDS]
    return np.concatenate([now, path.line_mm, path.level_mm, path.line_sd_mm, path.level_sd_mm])


def same(one, other):
    assert one.shape == other.shape
    np.testing.assert_allclose(one, other, rtol=0, atol=EXACT)


def at_reading(made, chainage_m):
    """How many readings come before the face has stood at a chainage."""
    tops = np.maximum.accumulate([r["chainage_m"] for r in made.readings])
    return int(np.searchsorted(tops, chainage_m, side="right"))


def test_a_late_shot_is_a_shot_in_time(made, tmp_path):
    readings, shot = made.as_events(), ("check_shot", made.shot(12.0, (1.5, -1.0)))
    k = at_reading(made, 12.0)
    in_time = made.open(tmp_path / "a", [*readings[:k], shot, *readings[k:]])
    late = made.open(tmp_path / "b", [*readings, shot])
    same(figures(in_time), figures(late))
    plain = made.open(tmp_path / "c", readings)
    assert np.abs(figures(plain) - figures(late)).max() > 0.05  # and it did count


def test_a_feed_that_asked_meanwhile_comes_to_the_same(made, tmp_path):
    readings, shot = made.as_events(), ("check_shot", made.shot(12.0, (1.5, -1.0)))
    late = made.open(tmp_path / "b", [*readings, shot])
    asked = made.open(tmp_path / "a", [])
    for i, event in enumerate([*readings, shot]):
        asked.add(*event)
        if i % 25 == 0:
            asked.advice()
    same(figures(asked), figures(late))


@pytest.fixture(scope="module")
def in_usual_order(made, tmp_path_factory):
    """Five shots, one of them wrong, one of them at another's place: they, and a drive that got them at its end."""
    shots = [
        made.shot(8.0), made.shot(16.0, (2.0, 0.0), asks=True), made.shot(16.0, (-1.0, 1.0), asks=True),
        made.shot(20.0, (70.0, 0.0), asks=True), made.shot(25.0, (0.0, 2.0), asks=True),
    ]  # fmt: skip
    at = tmp_path_factory.mktemp("usual") / "drive"
    drive = made.open(at, [*made.as_events(), *(("check_shot", shot) for shot in shots)])
    return shots, figures(drive), drive.shots()


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_order_of_arrival_gives_the_same(made, in_usual_order, tmp_path_factory, data):
    """The shots among the readings in any order."""
    shots, usual, usual_shots = in_usual_order
    readings = made.as_events()
    order = data.draw(st.permutations(range(len(shots))))
    places = sorted(data.draw(st.lists(st.integers(0, len(readings)), min_size=5, max_size=5)), reverse=True)
    mixed = list(readings)
    for shot, place in zip(order, places, strict=True):
        mixed.insert(place, ("check_shot", shots[shot]))
    other = made.open(tmp_path_factory.mktemp("orders") / "other", mixed)
    same(usual, figures(other))
    told = [[(s.chainage_m, s.line_mm, s.verdict) for s in views] for views in (usual_shots, other.shots())]
    assert told[0] == told[1]
    assert [s.verdict for s in usual_shots] == ["agrees", "agrees", "agrees", "waiting", "agrees"]


@pytest.fixture(scope="module")
def never_given(made, tmp_path_factory):
    """What a drive says that got one shot, at 20 m."""
    at = tmp_path_factory.mktemp("never") / "drive"
    return figures(made.open(at, [*made.as_events(), ("check_shot", made.shot(20.0))]))


@pytest.mark.parametrize("off", [(1.5, -1.0), (60.0, 5.0)])
@pytest.mark.parametrize("asks", [True, False])
def test_a_withdrawn_shot_was_never_given(made, never_given, tmp_path, off, asks):
    readings = made.as_events()
    taken = made.open(tmp_path / "b", readings[:300])
    shot = taken.add("check_shot", made.shot(4.0, off, asks=asks)).sequence
    taken.advice()
    for event in readings[300:]:
        taken.add(*event)
    taken.advice()
    taken.withdraw_shot(shot)
    taken.add("check_shot", made.shot(20.0))
    same(never_given, figures(taken))
    assert [s.verdict for s in taken.shots()] == ["withdrawn", "agrees"]


def test_words_on_a_shot_come_to_the_same_read_anew(made, tmp_path):
    drive = made.open(tmp_path / "a", made.as_events())
    wrong = drive.add("check_shot", made.shot(20.0, (70.0, 0.0), asks=True)).sequence
    waiting = figures(drive)
    drive.accept_shot(wrong)
    accepted = figures(drive)
    assert accepted[0] - waiting[0] > 40.0
    drive.withdraw_shot(wrong)
    drive.accept_shot(wrong)
    same(figures(drive), accepted)
    drive.reject_shot(wrong)
    rejected = figures(drive)
    drive.close()
    from steer.drive import Drive

    with Drive.open(tmp_path / "a") as again:
        same(figures(again), rejected)
        assert [s.verdict for s in again.shots()] == ["rejected"]
    plain = made.open(tmp_path / "b", made.as_events())
    same(figures(plain), rejected)


def test_an_accepted_shot_counts_as_one_from_the_feed(made, tmp_path):
    shot = made.shot(20.0, (40.0, -3.0))
    fed = made.open(tmp_path / "a", [*made.as_events(), ("check_shot", shot)])
    asked = made.open(tmp_path / "b", [*made.as_events(), ("check_shot", {**shot, "asks": True})])
    assert asked.shots()[0].verdict == "waiting"
    asked.accept_shot(asked.shots()[0].number)
    same(figures(fed), figures(asked))
    assert "shot_disagrees" in {n.code for n in fed.advice().notices}


def test_a_shot_ahead_of_the_face_waits_for_it(made, tmp_path):
    readings = made.as_events()
    k = at_reading(made, 14.0)
    ahead = ("check_shot", made.shot(20.0, (1.0, 1.0)))
    early = made.open(tmp_path / "a", [*readings[:k], ahead])
    plain = made.open(tmp_path / "b", readings[:k])
    same(figures(early), figures(plain))
    assert early.shots()[0].verdict == "waiting"
    assert not any(n.code == "shot_waiting" for n in early.advice().notices)  # there is nothing to decide
    for event in readings[k:]:
        early.add(*event)
    same(figures(early), figures(made.open(tmp_path / "c", [*readings, ahead])))
    assert early.shots()[0].verdict == "agrees"
