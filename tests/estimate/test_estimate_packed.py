"""A node far behind the face holds less and says the same, to the last bit; what is kept of it stays small."""

from __future__ import annotations

import errno
import os
from dataclasses import fields
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from support_histories import Event, load

from steer.correct.advise import driven_path
from steer.drivefile import parse_drive
from steer.errors import FolderUnusable
from steer.estimate import estimator as folding
from steer.estimate.cells import Cell
from steer.estimate.follow import Follower
from steer.estimate.health import examine
from steer.estimate.motion import N_STATES
from steer.estimate.nodes import CellReport
from steer.estimate.packed import PutAway, Transitions, Triangles
from steer.estimate.past import Past
from steer.estimate.possible import possible_paths
from steer.estimate.scatter import Scatter
from steer.estimate.shelf import Place, Shelf
from steer.estimate.small import ON_SHELF, in_memory
from steer.estimate.smoother import smooth
from steer.estimate.stack import MOST_STEPS

MATRICES = ("p", "p_before", "phi")
NEVER = 10**9


@pytest.fixture
def whole(monkeypatch):
    """Sets how many of the newest nodes are not packed, and hold their small fields."""

    def set_to(count):
        monkeypatch.setattr(folding, "WHOLE", count)
        monkeypatch.setattr(folding, "AT_HAND", count)

    return set_to


def followed(name, shot_m=None, late=False):
    """One of the committed drives, the reference set anew at its middle, asked after every stroke. `shot_m`: a
    further check shot there that disagrees and waits for a word, and one that counts; `late`: after all else."""
    kept = load(name)
    drive = parse_drive(kept["toml"])
    events = [Event(i + 1, kind, body) for i, (kind, body) in enumerate(kept["events"])]
    ends = [i for i, event in enumerate(events) if event.kind == "stroke_end"]
    middle = ends[len(ends) // 2]
    anew = {**events[middle].body, "right_mm": drive.reference.right_mm, "up_mm": drive.reference.up_mm}
    events.insert(middle + 1, Event(50_000, "reference_set", anew))
    if shot_m is not None:
        shot = {"point": "face", "chainage_m": shot_m, "sd_mm": 2.0}
        news = [
            Event(60_000, "check_shot", {**shot, "line_mm": 400.0, "level_mm": 0.0, "asks": True}),
            Event(60_001, "check_shot", {**shot, "line_mm": 5.0, "level_mm": -5.0}),
        ]
        at = next(
            i for i, e in enumerate(events) if e.kind == "reading" and e.body["chainage_m"] > shot_m + 0.5
        )
        events[len(events) if late else at : len(events) if late else at] = news
    follower = Follower(drive)
    for event in events:
        assert follower.take(event)
        if event.kind == "stroke_end":
            follower.bring_up()
    follower.bring_up()
    return follower


def said(estimator):
    """All that later questions draw from the nodes."""
    path, possible = smooth(estimator), possible_paths(estimator, 20)
    nodes = [(n.x, n.p, *n.blend(), *(small(n, name) for name in SMALL)) for n in estimator.nodes]
    cells = [item for item in estimator.items if isinstance(item, Cell)]
    did = [node.report for node in estimator.nodes if isinstance(node.report, CellReport)]
    return [
        *vars(path).values(),
        *(v for v in vars(possible).values() if isinstance(v, np.ndarray)),
        *sum(nodes, ()),
        *(small(one, field.name) for one in (*cells, *did) for field in fields(type(one))),
    ]


SMALL = (
    "score", "trend", "against", "mirror", "torn", "bearing_rad", "grade", "roll_deg", "roll_doubt", "steered_m", "past",
    "scatter",
)  # fmt: skip


def small(one, name):
    """A field as one array."""
    value = getattr(one, name)
    if isinstance(value, Past | Scatter):
        value = np.concatenate([part.ravel() for part in vars(value).values()])
    return np.asarray(value, float)


def assert_same_bits(one, other):
    assert len(one) == len(other)
    for a, b in zip(one, other, strict=True):
        assert a.shape == b.shape and a.tobytes() == b.tobytes()


def held_bytes(node):
    """What a node holds of states, matrices and what is cached of them, but for its weights."""
    held = [v for k, v in vars(node).items() if isinstance(v, np.ndarray | tuple) and k != "weights"]
    arrays = [a for v in held for a in (v if isinstance(v, tuple) else (v,))]
    return sum(a.nbytes for a in arrays)


@pytest.mark.parametrize("name", ["clean", "faults", "curved"])
def test_every_node_of_a_drive_is_unpacked_as_it_was(name, whole):
    whole(NEVER)
    follower = followed(name, shot_m=20.0)
    shelf = Shelf()
    assert {len(key) for key in follower.estimator.keys} == {4}
    assert {key[1] for key in follower.estimator.keys} == {0, 1, 2}  # cells, shots and a setting
    for node in follower.estimator.nodes:
        of_models = slice(2 * len(node.score))
        before = [node.p, node.p_before[of_models], node.phi[of_models], *node.blend()]
        before += [small(node, name) for name in SMALL]
        node.pack(shelf)
        node.put_away(shelf)
        assert node.packed and all(isinstance(kept, PutAway) for kept in node.packed.values())
        after = [node.p, node.p_before, node.phi, *node.blend(), *(small(node, name) for name in SMALL)]
        assert_same_bits(after, before)


@pytest.mark.parametrize("name", ["clean", "faults", "curved"])
def test_packing_changes_nothing_that_is_said(name, whole):
    whole(NEVER)
    plain = followed(name, shot_m=20.0)
    assert not any(node.packed for node in plain.estimator.nodes)
    whole(0)
    packed = followed(name, shot_m=20.0)
    assert all(node.packed for node in packed.estimator.nodes)
    assert_same_bits(said(packed.estimator), said(plain.estimator))


@pytest.mark.parametrize("shot_m", [1.0, 15.0])
def test_a_shot_far_behind_counts_as_one_in_time(shot_m):
    in_time, late = followed("faults", shot_m), followed("faults", shot_m, late=True)
    assert sum(n.s_m > shot_m for n in late.estimator.nodes) > folding.WHOLE + 50
    one, other = said(late.estimator), said(in_time.estimator)
    assert all(
        np.allclose(a, b, rtol=1e-6, atol=1e-9, equal_nan=True) for a, b in zip(one, other, strict=True)
    )
    assert np.abs(one[1] - said(followed("faults").estimator)[1]).max() > 0.1  # and it does count


@pytest.mark.parametrize("shot_m", [1.0, 15.0])
def test_a_late_shot_folds_again_from_a_packed_node_to_the_last_bit(shot_m, whole):
    packed = followed("faults", shot_m, late=True)
    whole(NEVER)
    assert_same_bits(said(packed.estimator), said(followed("faults", shot_m, late=True).estimator))


def test_a_full_disk_leaves_them_in_memory(monkeypatch):
    """And says the same."""
    plain = followed("faults", shot_m=20.0, late=True)

    def full(*_: object) -> int:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "pwrite", full)
    kept = followed("faults", shot_m=20.0, late=True)
    assert kept.estimator.nodes[0].packed
    assert not any(isinstance(k, PutAway) for n in kept.estimator.nodes for k in n.packed.values())
    assert not any(ON_SHELF in vars(one) for one in (*kept.estimator.nodes, *kept.estimator.items))
    assert_same_bits(said(kept.estimator), said(plain.estimator))


def test_a_shelf_gives_back_what_lies_on_it_and_room_that_is_left_serves_again():
    shelf, rng = Shelf(), np.random.default_rng(3)
    lying: dict[Place, bytes] = {}
    longest = 0
    for _ in range(600):
        data = rng.bytes(int(rng.integers(1, 20_000)))
        place = shelf.put(data)
        assert place is not None
        lying[place] = data
        longest = max(longest, sum(-(-len(d) // 4096) * 4096 for d in lying.values()))
        if len(lying) > 20:
            del lying[next(iter(lying))], place
    for place, data in lying.items():
        assert place.read(0, len(data)) == data
        assert place.read(len(data) // 2, 1) == data[len(data) // 2 : len(data) // 2 + 1]
    assert shelf._end < 4 * longest  # 600 were put there, of which 21 lie there


def test_a_shelf_cut_short_is_said():
    shelf = Shelf()
    place = shelf.put(b"x" * 5000)
    assert place is not None and shelf._file is not None
    os.ftruncate(shelf._file.fileno(), 100)
    with pytest.raises(FolderUnusable, match="cut short"):
        place.read(0, 5000)


def test_a_shelf_cut_short_is_not_written_on():
    """What was cut would read as zeros."""
    shelf = Shelf()
    place = shelf.put(b"x" * 5000)
    assert place is not None and shelf._file is not None
    os.ftruncate(shelf._file.fileno(), 0)
    assert shelf.put(b"y" * 20_000) is None
    with pytest.raises(FolderUnusable, match="cut short"):
        place.read(0, 5000)


def test_a_shelf_leaves_the_log_room_on_the_disk(monkeypatch):
    shelf = Shelf()
    place = shelf.put(b"x" * 5000)
    nearly_full = SimpleNamespace(f_bavail=60 << 8, f_frsize=4096)  # 63 MB
    monkeypatch.setattr(os, "fstatvfs", lambda file: nearly_full)
    assert shelf.put(b"y" * 5000) is None
    assert place is not None and place.read(0, 5) == b"xxxxx"
    del place
    assert shelf.put(b"z" * 5000) is not None  # room that it has already


def test_what_is_asked_of_old_nodes_does_not_stay():
    follower = followed("clean", shot_m=20.0)
    nodes = follower.estimator.nodes
    assert [bool(node.packed) for node in nodes] == [
        i < len(nodes) - folding.WHOLE for i in range(len(nodes))
    ]
    for node in nodes:
        node.blend()  # the mixture is small, and stays
    before = [held_bytes(node) for node in nodes]
    said(follower.estimator)
    examine(follower, follower.node())
    driven_path(follower.estimator, follower.node(), 40.0)
    after = [held_bytes(node) for node in nodes[: -folding.WHOLE]]
    assert after == before[: len(after)]
    assert max(after) < 9_000 < 60_000 < min(before[-folding.WHOLE :])


def test_old_nodes_and_cells_hold_what_every_look_asks_of_them():
    """And no more: a shift's memory must not grow with the metres driven."""
    estimator = followed("clean").estimator
    old = estimator.nodes[: -folding.AT_HAND]
    assert len(old) > 50
    names = {name for node in old for name in vars(node)}
    assert names == {"s_m", "articulation", "report", "weights", "stands_for", "packed", ON_SHELF}
    did = [node.report for node in old if isinstance(node.report, CellReport)]
    assert {name for report in did for name in vars(report)} == {"refused", "jumped", ON_SHELF}
    cells = [item for item in estimator.items[: len(old)] if isinstance(item, Cell)]
    assert {name for cell in cells for name in vars(cell)} == {"s_m", "first", ON_SHELF}


def test_a_cell_put_away_is_put_in_memory_whole():
    estimator = followed("faults").estimator
    cell = next(item for item in estimator.items if isinstance(item, Cell))
    again = in_memory(cell)
    assert ON_SHELF in vars(cell) and ON_SHELF not in vars(again) and in_memory(again) is again
    assert_same_bits(*([small(one, field.name) for field in fields(Cell)] for one in (cell, again)))
    with pytest.raises(ValueError, match="read-only"):
        cell.values[0] = 1.0


def test_a_shot_that_waits_holds_nothing_of_its_own():
    follower = followed("clean", shot_m=20.0, late=True)
    (waiting,) = (node for node in follower.estimator.nodes if node.stands_for is not None)
    assert waiting.packed and waiting.packed is waiting.stands_for.packed


def test_a_packed_node_cannot_be_written_into():
    node = followed("clean").estimator.nodes[0]
    for name in MATRICES:
        with pytest.raises(ValueError, match="read-only"):
            getattr(node, name)[0, 0, 0] = 1.0


def test_a_covariance_that_is_not_symmetric_to_the_last_bit_stays_whole(whole):
    whole(NEVER)
    node = followed("clean").estimator.nodes[5]
    node.p[3, 0, 1] = np.nextafter(node.p[3, 0, 1], np.inf)
    as_it_was = node.p.copy()
    node.pack(Shelf())
    assert not node.packed and node.p.tobytes() == as_it_was.tobytes()


NUMBERS = st.floats(width=64) | st.sampled_from([0.0, -0.0, 1.0, 5e-324])


@given(arrays(float, (3, N_STATES, N_STATES), elements=NUMBERS))
def test_any_numbers_come_back(numbers):
    phi = np.where(np.abs(numbers) > 0.5, np.eye(N_STATES), numbers)
    assert Transitions.of(phi).whole().tobytes() == phi.tobytes()
    upper = np.triu(np.ones((N_STATES, N_STATES), bool))
    p = np.where(upper, numbers, numbers.swapaxes(1, 2))
    packed = Triangles.of(p)
    assert packed is not None and packed.whole().tobytes() == p.tobytes()


def test_the_noise_kept_is_that_of_every_plane_and_of_few_lengths():
    stack = Follower(parse_drive(load("clean")["toml"])).estimator.stack
    for ds in np.linspace(0.001, 0.3, MOST_STEPS + 200):
        found = stack.noise(float(ds))
        assert found.tobytes() == stack.whole.process_noise(float(ds)).tobytes()
        assert len(stack._noises) <= MOST_STEPS
