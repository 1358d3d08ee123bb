"""`steer counter`: a wrong chainage counter is put right by one more event."""

import json
import shutil
import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

import kills

from steer.cli.main import main
from steer.drive import Drive
from steer.log import Log

SLIP_M = 2.0


def feed(folder, lines):
    with Drive.open(folder, write=True) as drive:
        for line in lines:
            body = {name: value for name, value in line.items() if name != "kind"}
            if line["kind"] == "stroke_end":
                drive.stroke_end(body["chainage_m"])
            else:
                drive.add(line["kind"], body)


def told(lines, upto, slip):
    """The same drive with a counter that lacks `slip` m for readings and stroke ends after line `upto`."""
    return [
        line | {"chainage_m": round(line["chainage_m"] - slip, 3)}
        if k >= upto and line["kind"] != "check_shot" else line
        for k, line in enumerate(lines)
    ]  # fmt: skip


def next_of(folder, capsys):
    capsys.readouterr()
    assert main(["next", str(folder), "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def own(made, tmp_path):
    """Copies of the folders made, for one test."""
    return [shutil.copytree(folder, tmp_path / folder.name) for folder in made]


@pytest.fixture
def slipped(made_slipped, tmp_path):
    *made, first = made_slipped
    return *own(made, tmp_path), first


@pytest.fixture(scope="module")
def made_slipped(tmp_path_factory):
    """Eight strokes; after five the counter slips back by 2 m. And the same drive with a sound counter."""
    lines = kills.feed_lines(8)
    upto = 5 * 11 + 1  # ten readings and the end of each stroke, one check shot
    place = tmp_path_factory.mktemp("slipped")
    good, bad = kills.new_drive(place / "good"), kills.new_drive(place / "bad")
    feed(good, lines)
    feed(bad, told(lines, upto, SLIP_M))
    with Log.open(bad) as log:
        first = [e.sequence for e in log.events() if e.kind == "reading"][50]
    return good, bad, first


def test_put_right_afterwards_it_is_as_if_it_had_not_slipped(slipped, capsys):
    good, bad, first = slipped
    expected = next_of(good, capsys)
    assert next_of(bad, capsys)["chainage_m"] < 7.9
    assert main(["counter", str(bad), "--add", "2.0", "--from-event", str(first), "--note", "wheel"]) == 0
    out = capsys.readouterr().out
    assert f"+2.000 m on the counter's chainage from event {first} on (wheel)" in out
    assert "8.000 m now" in out
    found = next_of(bad, capsys)
    assert found["chainage_m"] == pytest.approx(expected["chainage_m"], abs=1e-9)
    for name in ("line_mm", "line_sd_mm", "level_mm", "level_sd_mm"):
        assert found["estimate"][name] == pytest.approx(expected["estimate"][name], abs=0.2), name


def test_the_newest_correction_counts_and_all_are_listed(slipped, capsys):
    _, bad, first = slipped
    for add in ("3", "-1", "2.0"):
        assert main(["counter", str(bad), "--add", add, "--from-event", str(first)]) == 0
    assert next_of(bad, capsys)["chainage_m"] == pytest.approx(8.0, abs=1e-9)
    assert main(["counter", str(bad)]) == 0
    out = capsys.readouterr().out
    assert out.count("on the counter's chainage from event") == 3
    assert "chainage of the face: 8.000 m" in out


def test_a_drive_that_follows_sees_it_and_a_later_one_ends_it(slipped, capsys):
    _, bad, first = slipped
    with Drive.open(bad) as watching:
        watching.advice()
        assert main(["counter", str(bad), "--add", "2", "--from-event", str(first)]) == 0
        watching.refresh()
        assert watching.advice().chainage_m == pytest.approx(8.0)
        assert main(["counter", str(bad), "--add", "0"]) == 0  # from here on it is right again
        line = {"chainage_m": 8.1, "spot_right_mm": 0.0, "spot_up_mm": 0.0}
        with Drive.open(bad, write=True) as drive:
            drive.add("reading", line)
            assert drive.advice().chainage_m == pytest.approx(8.1)
        watching.refresh()
        assert watching.advice() == pytest.approx(watching.advice())
        assert watching.advice().chainage_m == pytest.approx(8.1)


def test_a_word_that_would_change_nothing_is_refused(slipped, capsys):
    _, bad, first = slipped
    assert main(["counter", str(bad), "--add", "2", "--from-event", str(first)]) == 0
    with Drive.open(bad) as drive:
        newest = drive.seen
    there = ["--from-event", str(first)]
    for again in (["2"], ["2", *there], ["2", "--from-event", str(first + 3)], ["2.0000001", *there]):
        capsys.readouterr()
        assert main(["counter", str(bad), "--add", *again]) == 1
        assert "add_m 2: " in (said := capsys.readouterr().err) and "allowed is another number of m" in said
    with Drive.open(bad) as drive:
        assert drive.seen == newest
    # from earlier on it would change what lies between, and 0 ends it
    assert main(["counter", str(bad), "--add", "2", "--from-event", str(first - 1)]) == 0
    assert main(["counter", str(bad), "--add", "0"]) == 0
    assert main(["counter", str(bad), "--add", "0"]) == 1


def test_the_as_built_record_follows(slipped, capsys):
    _, bad, first = slipped
    main(["counter", str(bad), "--add", "2", "--from-event", str(first)])
    capsys.readouterr()
    assert main(["asbuilt", str(bad), "--json"]) == 0
    found = capsys.readouterr().out
    assert '"chainage_m": 8.0' in found


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        (["--add", "two"], '--add: "two" is not allowed'),
        (["--add", "1e9"], "--add"),
        (["--add", "nan"], '--add: "nan" is not allowed: must be a number at least'),
        (["--add", "1", "--from-event", "0"], "--from-event"),
        (["--add", "1", "--from-event", "1.5"], "--from-event"),
        (["--add", "1", "--from-event", "99999"], "the newest event is"),
        (["--from-event", "3"], "go with --add"),
        (["--add", "1", "--note", "x" * 3000], "--note"),
    ],
)
def test_what_cannot_be_meant(slipped, capsys, arguments, part):
    _, bad, _ = slipped
    with Log.open(bad) as log:
        before = log.last_sequence()
    assert main(["counter", str(bad), *arguments]) == 2
    said = capsys.readouterr().err
    assert part in said
    assert "cell" not in said  # there are none on a command line
    with Log.open(bad) as log:
        assert log.last_sequence() == before


LEAP_M = 10.0


@pytest.fixture
def leapt(made_leapt, tmp_path):
    *made, rest = made_leapt
    return *own(made, tmp_path), rest


@pytest.fixture(scope="module")
def made_leapt(tmp_path_factory):
    """Eight strokes, after which five readings come 10 m ahead without any between; and the same drive without them."""
    lines = kills.feed_lines(9)
    upto = 8 * 11 + 1
    more = [line for line in lines[upto:] if line["kind"] == "reading"]
    place = tmp_path_factory.mktemp("leapt")
    good, bad = kills.new_drive(place / "good"), kills.new_drive(place / "bad")
    feed(good, lines[:upto])
    feed(bad, lines[:upto])
    feed(bad, [line | {"chainage_m": line["chainage_m"] + LEAP_M} for line in more[:5]])
    return good, bad, lines[upto:]


def page_of(folder, capsys):
    capsys.readouterr()
    assert main(["next", str(folder)]) == 0
    return " ".join(capsys.readouterr().out.split())


def test_nothing_is_proposed_on_the_word_of_a_counter_that_leapt(leapt, capsys):
    good, bad, _ = leapt
    assert next_of(good, capsys)["trusted"]
    found = next_of(bad, capsys)
    assert found["chainage_m"] > 8.0 + LEAP_M - 0.1 and not found["trusted"]
    assert found["correction"]["cylinder_mm"]  # the JSON always carries one
    page = page_of(bad, capsys)
    assert "NO CORRECTION PROPOSED" in page and "until 15 m more are driven" in page


def test_the_words_that_a_leap_asks_for_answer_it(leapt, capsys):
    _, bad, _ = leapt
    with Log.open(bad) as log:
        first = [e.sequence for e in log.events() if e.kind == "reading"][-5]
    assert f"(steer counter FOLDER --add METRES, which holds from event {first} on)" in page_of(bad, capsys)
    assert main(["counter", str(bad), "--add", "0"]) == 0
    right = next_of(bad, capsys)
    assert right["trusted"] and right["chainage_m"] > 18.0
    assert "chainage_jumped" not in [n["code"] for n in right["notices"]]
    assert main(["counter", str(bad), "--add", "-10", "--from-event", str(first)]) == 0
    assert next_of(bad, capsys)["trusted"]


def test_what_a_counter_that_leapt_has_too_much_holds_from_the_leap_on(leapt, capsys):
    _, bad, rest = leapt
    assert main(["counter", str(bad), "--add", "-10"]) == 0
    assert "m on the counter's chainage from event" in capsys.readouterr().out
    found = next_of(bad, capsys)
    assert found["trusted"] and found["chainage_m"] == pytest.approx(rest[4]["chainage_m"])


def test_a_counter_that_fell_back_from_a_leap_is_right_with_one_word(leapt, capsys):
    """As if it had not leapt, but for the five readings whose place is only known to their own metres."""
    good, bad, rest = leapt
    feed(good, rest)
    feed(bad, [line for line in rest if line["kind"] == "reading"])
    lost = next_of(bad, capsys)
    assert not lost["trusted"] and "fell back" in page_of(bad, capsys)
    assert "0: it is right now, and was not when it went to" in page_of(bad, capsys)
    assert main(["counter", str(bad), "--add", "0"]) == 0
    expected, found = next_of(good, capsys), next_of(bad, capsys)
    assert found["trusted"] and found["chainage_m"] == pytest.approx(expected["chainage_m"])
    assert not [n for n in found["notices"] if n["code"] == "chainage_jumped"]
    for name in ("line_mm", "level_mm"):
        assert found["estimate"][name] == pytest.approx(expected["estimate"][name], abs=0.5), name


def test_a_counter_that_was_reset_lacks_the_metres_from_its_first_reading_on(tmp_path, capsys):
    lines = kills.feed_lines(8)
    upto = 5 * 11 + 1
    good, bad = kills.new_drive(tmp_path / "good"), kills.new_drive(tmp_path / "bad")
    feed(good, lines)
    reset = told(lines, upto, 5.0)  # to zero
    with Drive.open(bad, write=True) as drive:
        for line in reset:
            if line["kind"] != "stroke_end":
                drive.add(line["kind"], {k: v for k, v in line.items() if k != "kind"})
    assert not next_of(bad, capsys)["trusted"]
    assert main(["counter", str(bad), "--add", "5"]) == 0
    expected, found = next_of(good, capsys), next_of(bad, capsys)
    assert found["trusted"]
    for name in ("line_mm", "level_mm", "line_sd_mm"):
        assert found["estimate"][name] == pytest.approx(expected["estimate"][name], abs=0.2), name


def test_a_gap_of_readings_that_strokes_ends_tell_of_is_no_doubt(tmp_path, capsys):
    """The readings of four strokes never came: they are missed, and said, but the way between is told."""
    lines = kills.feed_lines(9)
    folder = kills.new_drive(tmp_path / "drive")
    feed(folder, [line for line in lines if line["kind"] != "reading" or not 3.0 < line["chainage_m"] <= 7.2])
    found = next_of(folder, capsys)
    (said,) = [n for n in found["notices"] if n["code"] == "chainage_jumped"]
    assert "carried over the gap" in said["text"] and found["trusted"]
    silent = kills.new_drive(tmp_path / "silent")
    feed(silent, [line for line in lines if not 3.0 < line["chainage_m"] <= 7.2])
    found = next_of(silent, capsys)
    assert not found["trusted"] and found["correction"]["cylinder_mm"]
