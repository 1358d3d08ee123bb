"""The real drive behind the screens: what the adapter says agrees with the drive and the log."""

import argparse
import re
from dataclasses import replace

import numpy as np
import pytest

STROKES = 42  # of the sample drive, to 37.8 m: past its first check shot, and a change is proposed
AT = r"at (\d{4}-\d\d-\d\d )?\d\d:\d\d UTC"  # the date only where the day has changed meanwhile


@pytest.fixture(scope="module")
def sample(tmp_path_factory):
    import sample as samples

    return samples.copied(tmp_path_factory.mktemp("sample") / "drive", STROKES)


@pytest.fixture
def source(request, tmp_path):
    import sample as samples

    from steer.cli.screen_source import ScreenSource
    from steer.drive import Drive

    folder = samples.copied(tmp_path / "drive", getattr(request, "param", STROKES))
    with Drive.open(folder, write=True) as drive:
        yield ScreenSource(drive)


@pytest.fixture(scope="module")
def bare(sample, tmp_path_factory):
    """The sample's readings of its first 26 m alone, without its crew's decisions."""
    import shutil

    from steer.intake import store_readings

    folder = tmp_path_factory.mktemp("bare") / "drive"
    folder.mkdir()
    shutil.copy(sample / "drive.toml", folder)
    head, *rows = (sample / "readings.csv").read_text().splitlines(keepends=True)
    at = head.split(",").index("chainage_m")
    beyond = next(n for n, row in enumerate(rows) if float(row.split(",")[at]) > 26.0)
    few = folder.parent / "readings.csv"
    few.write_text(head + "".join(rows[:beyond]))
    store_readings(folder, [few])
    return folder


@pytest.fixture
def undecided(bare, tmp_path):
    import shutil

    from steer.cli.screen_source import ScreenSource
    from steer.drive import Drive

    shutil.copytree(bare, tmp_path / "bare")
    with Drive.open(tmp_path / "bare", write=True) as drive:
        yield ScreenSource(drive)


def test_what_was_put_away_and_is_cut_short_is_mended_by_opening_again(undecided):
    """Tried again it stays cut short: the screen must not say that waiting helps."""
    import os

    from steer.errors import FolderUnusable

    undecided.snapshot()
    shelf = undecided.drive.follower.estimator.shelf
    os.ftruncate(shelf._file.fileno(), 100)
    undecided.note("sand")
    with pytest.raises(FolderUnusable, match="cut short") as found:
        undecided.snapshot()
    assert found.value.todo == "Nothing is lost, the log holds all: leave (key q) and open again."


def test_decision_stands_until_it_is_taken_back(undecided):
    source = undecided
    assert source.snapshot().extra["decision"] is None
    before = [event.sequence for event in source.events()]
    source.accept()
    snapshot = source.snapshot()
    decision = snapshot.extra["decision"]
    assert decision["kind"] == "accepted" and decision["stroke"] == snapshot.advice.stroke
    source.override(2.0, -1.0)
    decision = source.snapshot().extra["decision"]
    assert decision["kind"] == "overridden" and decision["right_mm_per_m"] == pytest.approx(2.0, abs=0.5)
    stroke = snapshot.advice.stroke + 1
    assert re.fullmatch(
        rf"The own setting of stroke {stroke}, made {AT}, is taken back; the acceptance before it stands again\.",
        source.undo_last(),
    )
    assert source.snapshot().extra["decision"]["kind"] == "accepted"
    assert re.fullmatch(rf"The acceptance of stroke {stroke}, made {AT}, is taken back\.", source.undo_last())
    assert source.snapshot().extra["decision"] is None
    # Each of these is a further event; none was removed.
    after = list(source.events())
    assert [event.sequence for event in after[: len(before)]] == before
    kinds = [event.kind for event in after[len(before) :] if event.kind != "drive_file"]
    assert kinds == ["accepted", "overridden", "undone", "undone"]


def test_a_word_on_a_shot_is_taken_back_where_it_is_the_last_thing_done(undecided):
    source = undecided
    face_m = source.snapshot().advice.chainage_m
    shot = {"chainage_m": face_m, "point": "face", "line_mm": 0.0, "level_mm": 0.0, "sd_mm": 3.0}
    source.drive.add("check_shot", shot)
    number = source.snapshot().shots[-1].number

    def verdict():
        return next(shot.verdict for shot in source.snapshot().shots if shot.number == number)

    came_in = verdict()
    source.accept()
    source.withdraw_shot(number)
    assert verdict() == "withdrawn"
    said = rf"Shot {number} stands as it came in, no longer withdrawn as said {AT}\."
    assert re.fullmatch(said, source.undo_last())
    assert verdict() == came_in and source.snapshot().extra["decision"]["kind"] == "accepted"
    assert "acceptance of stroke" in source.undo_last()
    source.withdraw_shot(number)
    source.note("wet sand")
    assert "wet sand" in source.undo_last() and verdict() == "withdrawn"
    source.drive.stroke_end(
        source.snapshot().advice.chainage_m + 0.9
    )  # an older word is for the shots' screen
    assert "Nothing stands" in source.undo_last() and verdict() == "withdrawn"


def test_a_word_taken_back_leaves_the_word_before_it(undecided):
    """Key u on either screen, as often as words were said; each is a further event, and whoever reads the log anew
    comes to the same."""
    from steer.drive import Drive
    from steer.errors import InputRefused

    source, face_m = undecided, undecided.snapshot().advice.chainage_m
    shot = {
        "chainage_m": face_m,
        "point": "face",
        "line_mm": 900.0,
        "level_mm": 0.0,
        "sd_mm": 3.0,
        "asks": True,
    }
    number = source.drive.add("check_shot", shot).sequence

    def verdict():
        with Drive.open(source.drive.folder) as again:
            (anew,) = (s.verdict for s in again.shots() if s.number == number)
        (here,) = (s.verdict for s in source.drive.shots() if s.number == number)
        assert anew == here
        return here

    assert verdict() == "waiting"
    for undo in (source.undo_last, lambda: source.restore_shot(number)):
        for word, came in (("accept", "disagrees"), ("reject", "rejected"), ("withdraw", "withdrawn")):
            getattr(source, f"{word}_shot")(number)
            assert verdict() == came
        assert f"Shot {number} is rejected again, no longer withdrawn as said" in undo()
        assert verdict() == "rejected"
        assert f"Shot {number} is accepted again, no longer rejected as said" in undo()
        assert verdict() == "disagrees"
        assert f"Shot {number} stands as it came in, no longer accepted" in undo() and verdict() == "waiting"
    with pytest.raises(InputRefused, match="there is nothing to take back"):
        source.restore_shot(number)
    # an older log says only that the shot stands as it came in
    source.accept_shot(number)
    source.reject_shot(number)
    source.drive.add("restored", {"shot": number})
    assert verdict() == "waiting"


def test_what_another_window_decided_is_taken_back_by_name(undecided):
    from steer.cli.screen_source import ScreenSource
    from steer.drive import Drive

    source, stroke = undecided, undecided.snapshot().advice.stroke + 1
    with Drive.open(source.drive.folder, write=True) as other:
        other.accept()
        number = other.add(
            "check_shot", {"chainage_m": 20.0, "point": "face", "line_mm": 0.0, "level_mm": 0.0, "sd_mm": 3.0}
        ).sequence
        other.reject_shot(number)
        said = rf"Shot {number} stands as it came in, no longer rejected as said {AT} in another window or program\."
        assert re.fullmatch(said, source.undo_last())
        said = rf"The acceptance of stroke {stroke}, made {AT} in another window or program, is taken back\."
        assert re.fullmatch(said, source.undo_last())
        other.note("wet sand")
    with Drive.open(source.drive.folder, write=True) as later:
        assert "before this window was opened" in ScreenSource(later).undo_last()


def test_nothing_to_take_back_is_said(tmp_path, sample):
    import shutil

    from steer.cli.screen_source import ScreenSource
    from steer.drive import Drive

    shutil.copy(sample / "drive.toml", tmp_path / "drive.toml")
    with Drive.open(tmp_path, write=True) as drive:
        assert "Nothing stands" in ScreenSource(drive).undo_last()


def test_note_is_taken_back_by_name(source):
    source.note("wet sand")
    assert re.fullmatch(rf'The note "wet sand", written {AT}, is taken back\.', source.undo_last())


def test_trying_a_setting_stores_nothing_and_knows_the_limits(source):
    from steer.machine.cylinders import articulation

    file = source.drive.file
    before = source.drive.log.last_sequence()
    now = source.snapshot().advice
    tried = source.try_setting(now.now_right_mm_per_m, now.now_up_mm_per_m)
    assert tried.problems == ()
    # Back through least squares, an independent way: within a cylinder's step of what was asked.
    back = articulation(np.array(tried.cylinder_mm), now.roll_deg, file.machine.cylinders)
    step = 1000.0 * file.machine.cylinders.step_mm / file.machine.cylinders.circle_radius_mm
    assert abs(back.right_mm_per_m - now.now_right_mm_per_m) < step
    assert abs(back.up_mm_per_m - now.now_up_mm_per_m) < step
    most = file.machine.max_change_mm_per_m
    beyond = source.try_setting(now.now_right_mm_per_m + most + 1, 0.0)
    assert not beyond.problems and beyond.beyond[0].code == "line_change"
    assert any("both planes" in p for p in source.try_setting(99.0, 99.0).problems)
    assert any("cylinder" in p for p in source.try_setting(99.0, 99.0).problems)
    assert source.drive.log.last_sequence() == before


def test_log_moved_away_or_replaced_is_noticed(source, tmp_path):
    import shutil

    from steer.errors import FolderUnusable

    folder = source.drive.folder
    assert source.refresh() is False
    folder.rename(tmp_path / "elsewhere")
    with pytest.raises(FolderUnusable, match="gone from its place"):
        source.refresh()
    shutil.copytree(tmp_path / "elsewhere", folder)
    with pytest.raises(FolderUnusable, match="another log") as found:
        source.refresh()
    # to wait, as for a log out of reach, would be the wrong thing to do
    assert found.value.todo == "Leave (key q) and open again."
    shutil.rmtree(folder)
    (tmp_path / "elsewhere").rename(folder)
    assert source.refresh() is False


def test_events_above_a_sequence(source):
    last = source.drive.log.last_sequence()
    assert [event.sequence for event in source.events(last - 3)] == [last - 2, last - 1, last]


def test_shots_from_a_file(source, tmp_path):
    from steer.errors import InputRefused

    before = len(source.snapshot().shots)
    file = tmp_path / "more.csv"
    file.write_text("chainage_m,point,line_mm,level_mm,sd_mm\n34.0,face,-4.0,9.0,2.0\n")
    assert "1 check shot" in source.read_shots(str(file))
    assert source.refresh()
    assert len(source.snapshot().shots) == before + 1
    file.write_text("chainage_m,point,line_mm,level_mm,sd_mm\n34.0,nose,-4.0,9.0,2.0\n")
    with pytest.raises(InputRefused, match="nose"):
        source.read_shots(str(file))


def test_asbuilt_view_agrees_with_the_record(source, tmp_path):
    from steer.asbuilt.record import assemble
    from steer.errors import InputRefused, SteerError

    record, view = assemble(source.drive), source.asbuilt()
    assert len(view.points) == len(record.metres.lie.chainage_m)
    outside = sum(1 for p in view.points if p.verdict_line == "outside")
    assert outside == sum(1 for v in record.metres.verdict[:, 0] if v.value == "outside")
    known = [p.joint_mm_per_m for p in view.pipes if p.joint_mm_per_m is not None]
    assert max(known) == pytest.approx(float(np.nanmax(record.joints.standing.angle_mm_per_m)))
    written = source.asbuilt_writer(str(tmp_path / "built.csv"))()
    assert (tmp_path / "built.csv").read_text() and written.endswith("built.csv")
    with pytest.raises(InputRefused, match="must end in"):
        source.asbuilt_writer(str(tmp_path / "built.doc"))()
    with pytest.raises(SteerError, match="~nobody-of-that-name"):
        source.asbuilt_writer("~nobody-of-that-name/built.csv")()


def test_every_limit_exceeded_and_verdict_outside_is_among_the_warnings(source):
    from dataclasses import replace

    from steer.asbuilt.record import Eye, assemble
    from steer.cli.asbuilt_view import view

    record = assemble(source.drive)
    assert view(record).warnings == ()
    assert view(record).summary[0].startswith("INSIDE")
    eye = Eye((30.0, 20.0), True, (44.0, 1.0), (2.0, 2.0), "outside", None)
    bad = replace(
        record,
        eye=eye,
        both=replace(record.both, outside_m=3.0),
        joints=replace(record.joints, over_limit_m=2.0, may_be_over_m=1.0),
        force=replace(record.force, exceeded=(1, 2), may_exceed=(3,)),
    )
    heads = (
        "OUTSIDE tol",
        "OUTSIDE THE REC",
        "PERMISSIBLE FORCE EXC",
        "PERMISSIBLE FORCE MAY",
        "OVER",
        "MAY BE",
    )
    told = view(bad)
    assert len(told.warnings) == len(heads)
    assert all(text.startswith(head) for text, head in zip(told.warnings, heads, strict=True))
    assert not any(text.startswith(heads) for text in told.summary)


def test_screens_need_a_terminal(sample, capsys):
    from steer.cli.main import main

    assert main(["open", str(sample)]) == 2
    assert "steer next" in capsys.readouterr().err


def test_unusable_folder_is_said_before_a_screen_comes_up(tmp_path, capsys):
    from steer.cli.main import main

    assert main(["open", str(tmp_path / "nowhere")]) == 3


def test_palettes_of_the_command_line_are_those_of_the_screens():
    from steer.cli import open as open_command
    from tui.draw.palette import PALETTES

    assert [palette.name for palette in PALETTES] == list(open_command.PALETTES)
    parser = argparse.ArgumentParser()
    open_command.add_arguments(parser)
    assert parser.parse_args(["x", "--stale-after", "0"]).stale_after == 0.0


def test_a_replay_offers_no_age_at_which_readings_would_be_too_old(capsys):
    """Every reading of a replay is old, and is shown all the same."""
    from steer.cli.main import main

    with pytest.raises(SystemExit):
        main(["replay", "--help"])
    assert "15" not in capsys.readouterr().out
    with pytest.raises(SystemExit):
        main(["open", "--help"])
    assert "no reading came for so many minutes (default 15;" in " ".join(capsys.readouterr().out.split())


async def test_a_decision_is_shown_and_taken_back_on_the_screen_of_a_real_drive(make_app, tmp_path):
    import sample as samples
    from screen_pilot import ready, until
    from test_other_screens import screen_text

    from steer.cli.screen_source import ScreenSource
    from steer.drive import Drive

    samples.copied(tmp_path / "drive")
    app = make_app(lambda: ScreenSource(Drive.open(tmp_path / "drive", write=True)), stale_minutes=0.0)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await until(pilot, lambda: "STROKE 112  proposed" in screen_text(app))
        await pilot.press("a")
        await until(pilot, lambda: "STROKE 112  accepted" in screen_text(app))
        await pilot.press("u")
        await until(pilot, lambda: "STROKE 112  proposed" in screen_text(app))
        await pilot.press("o")
        await until(pilot, lambda: "Enter or Tab goes on" in screen_text(app))
        await pilot.press("ctrl+u", *"3 left", "enter", "ctrl+u", *"2 down")
        await until(pilot, lambda: "2.0 mm/m down" in screen_text(app))
        await pilot.press("enter")
        await until(pilot, lambda: "STROKE 112  own setting" in screen_text(app))
        await pilot.press("2", "x")
        await until(pilot, lambda: "3 taken, 1 withdrawn" in screen_text(app))
        await until(pilot, lambda: " sd  withdrawn" in screen_text(app))


@pytest.mark.parametrize("source", [13], indirect=True, ids=["short"])
async def test_the_record_is_written_beside_the_drive_and_over_no_other_file(source, make_app):
    """The engineer's keys on the sample drive; the table read back is the one that the command writes."""
    from screen_pilot import ready, until

    from steer.asbuilt.csv_out import write_csv
    from steer.asbuilt.record import assemble

    folder = source.drive.folder
    (folder / "asbuilt-11.70m-2.csv").write_text("another")
    write_csv(assemble(source.drive), folder / "wanted.csv")
    await _written(source, make_app, ready, until, ["v", "v", "p"])
    made = sorted(path.name for path in folder.glob("asbuilt-*"))
    first, third = folder / "asbuilt-11.70m.csv", folder / "asbuilt-11.70m-3.csv"
    assert made == ["asbuilt-11.70m-2.csv", third.name, first.name, "asbuilt-11.70m.pdf"]
    assert (folder / "asbuilt-11.70m-2.csv").read_text() == "another"
    assert first.read_text() == third.read_text() == (folder / "wanted.csv").read_text()
    assert (folder / "asbuilt-11.70m.pdf").read_bytes().startswith(b"%PDF")


async def _written(source, make_app, ready, until, keys):
    app = make_app(source, stale_minutes=0.0)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("3")
        for number, key in enumerate(keys, 1):
            app.say("")
            await pilot.press(key)
            await until(pilot, lambda: app.scene.said.startswith("Written: "), 6000)
            assert len(list(source.drive.folder.glob("asbuilt-*"))) == number + 1


def test_an_export_refuses_a_name_that_is_taken_and_one_taken_meanwhile(source, monkeypatch):
    import os

    from steer.errors import FolderUnusable, InputRefused

    place = source.drive.folder / "mine.csv"
    write = source.asbuilt_writer(str(place))
    place.write_text("mine")
    with pytest.raises(InputRefused, match="of that name already"):
        write()
    place.unlink()
    synced = os.fsync

    def slow(handle):
        place.write_text("theirs")
        synced(handle)

    monkeypatch.setattr(os, "fsync", slow)
    with pytest.raises(FolderUnusable, match="File exists"):
        write()
    assert place.read_text() == "theirs"
    assert not [path for path in source.drive.folder.iterdir() if path.name.startswith(".steer-")]


@pytest.mark.parametrize("source", [70], indirect=True, ids=["two shots"])
@pytest.mark.parametrize("word", ["accept", "reject", "withdraw"])
def test_a_word_on_a_shot_is_taken_back_by_a_further_event(source, word):
    """All the drive says is as before the word; the log holds both events."""
    from steer.drive import Drive
    from steer.errors import InputRefused

    before, count = source.snapshot(), len(list(source.events()))
    shot, advised = before.shots[1], source.drive.advice()
    with pytest.raises(InputRefused, match="neither accepted, rejected nor withdrawn: there is nothing"):
        source.restore_shot(shot.number)
    getattr(source, f"{word}_shot")(shot.number)
    if word != "accept":
        changed = source.snapshot().shots[1]
        assert changed.verdict != shot.verdict
    source.restore_shot(shot.number)
    after = source.snapshot()
    assert after.shots == before.shots and after.advice == before.advice
    assert len(list(source.events())) == count + 2
    with Drive.open(source.drive.folder) as again:
        assert again.advice() == advised
    with pytest.raises(InputRefused, match="neither accepted, rejected nor withdrawn: there is nothing"):
        source.restore_shot(shot.number)


def test_a_lost_counter_is_the_reason_given_and_how_to_go_on(source):
    from tui.draw.scene import Scene, blocked

    assert blocked(Scene(source.snapshot(), age_s=1.0)) is None
    for n in range(30):
        source.drive.add("reading", {"chainage_m": 0.05 * n, "spot_right_mm": 3.0, "spot_up_mm": -5.0})
    snapshot = source.snapshot()
    stop = blocked(Scene(snapshot, age_s=1.0))
    (notice,) = (n for n in snapshot.advice.notices if n.code == "chainage_jumped")
    assert stop.stop.title == "Chainage counter" and notice.text.startswith(stop.why[:-1])
    assert "steer counter FOLDER --add" in stop.todo and "fell back" in stop.why and "±" not in stop.why


def test_a_reading_without_a_time_is_not_dated_by_an_older_one(source):
    from tui.draw.counters import name_row
    from tui.draw.scene import Scene
    from tui.draw.spans import plain

    before = source.snapshot()
    assert before.last_reading_time and "last reading came" not in plain(name_row(Scene(before), 120))
    source.note("nothing of this is a reading")
    assert source.snapshot().last_reading_time == before.last_reading_time
    source.drive.add("reading", {"chainage_m": 38.0, "spot_right_mm": 3.4, "spot_up_mm": -4.9})
    after = source.snapshot()
    came = after.extra["last_reading_arrival"]
    assert after.last_reading_time is None
    assert f"last reading came {came[11:16]} UTC" in plain(name_row(Scene(after, today=came[:10]), 120))
    source.note("nor this")
    assert source.snapshot().last_reading_time is None


async def test_a_drive_file_changed_under_the_screens_hides_the_proposal(source, make_app):
    from screen_pilot import ready

    path = source.drive.folder / "drive.toml"
    text = path.read_text()
    app = make_app(source, stale_minutes=0.0)

    async def shows(key):
        await app.look()
        await pilot.press(key)
        await pilot.pause()
        return " ".join(" ".join(row.text for row in app.screen.query("Rows")).split())

    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        path.write_text(text)  # touched, and the same
        assert "STROKE 43 proposed" in await shows("1")
        path.write_text(text + "# a remark\n")
        said = await shows("z")
        assert "NO PROPOSAL Drive file changed" in said and "has changed since this was opened" in said
        assert "open again" in said
        before = source.drive.log.last_sequence()
        assert "no proposal to accept" in await shows("a")
        assert source.drive.log.last_sequence() == before
        assert "drive.toml has changed since" in await shows("2")
        path.unlink()
        assert "drive.toml cannot be read any more" in await shows("1")
        path.write_text(text)
        assert "STROKE 43 proposed" in await shows("z")


def test_no_raw_name_of_a_field_stands_in_a_row_of_the_log(source):
    import re

    from tui.draw.log_page import line_of

    source.note("wet sand")
    source.undo_last()
    kinds = {}
    for event in source.events():
        line = line_of(event)
        assert not re.search(r"[a-z]_[a-z]|sha256|\\x0a", line.text), line
        kinds.setdefault(line.kind, []).append((event, line.text))
    assert [text for _, text in kinds["file"]] == [
        "readings.csv read: 2,447 readings",
        "shots.csv read: 3 check shots",
    ]
    event, text = kinds["reading"][0]
    assert event.body["spot_right_mm"] < 0 and f"spot {-event.body['spot_right_mm']:g} mm left" in text
    assert event.body["roll_deg"] < 0 and f"roll {-event.body['roll_deg']:g} degrees anticlockwise" in text
    assert f"jacking force {event.body['jacking_force_kn']:g} kN" in text
    event, text = kinds["accepted"][-1]
    assert text.startswith(f"stroke {event.body['stroke'] + 1}, at ")
    (undone,) = (text for _, text in kinds["undone"])
    assert undone == f"event {kinds['note'][-1][0].sequence} is taken back"


def test_a_file_that_had_grown_says_what_of_it_was_new():
    from types import SimpleNamespace

    from tui.draw.log_page import line_of

    body = {"name": "old.csv", "sha256": "ab", "bytes": 6441, "kind": "reading", "rows": 1120, "new_rows": 1}
    event = SimpleNamespace(sequence=1, arrived="", kind="file", body=body)
    assert line_of(event).text == "old.csv read: 1 new reading of 1,120"


def test_cylinders_of_an_older_reading_are_not_said_to_be_of_now(source, tmp_path, sample):
    import shutil

    from steer.cli.screen_source import ScreenSource
    from steer.drive import Drive
    from tui.draw import cylinders
    from tui.draw.scene import Scene
    from tui.draw.spans import join

    def table(drive_source, height=7):
        return join(cylinders.draw(Scene(drive_source.snapshot(), age_s=1.0), cylinders.FULL, height))

    assert " now " in table(source) and "last read" not in table(source)
    newest = [event for event in source.events() if event.kind == "reading"][-1].body["chainage_m"]
    face_m = source.snapshot().advice.chainage_m
    seen = {"spot_right_mm": 3.0, "spot_up_mm": -5.0}
    for n in range(70):  # farther back than is looked at first, and not yet half a stroke
        source.drive.add("reading", {"chainage_m": face_m + 0.005 * n, **seen})
    for again in (source, ScreenSource(source.drive)):
        assert " last " in table(again) and f"last read at {newest:.2f} m" in table(again)
        assert " now " not in table(again)
    assert " last " in table(source, 5)
    source.drive.add("reading", {"chainage_m": face_m + 0.7, **seen})
    assert " told " in table(source) and "not read: as set last" in table(source)
    source.drive.add("reading", {"chainage_m": face_m + 0.8, "cylinder_mm": [20.0, 21.0, 20.0, 19.0]})
    assert " now " in table(source) and "last read" not in table(source)

    (tmp_path / "unread").mkdir()
    shutil.copy(sample / "drive.toml", tmp_path / "unread")
    with Drive.open(tmp_path / "unread", write=True) as drive:
        drive.add("reading", {"chainage_m": 0.1, "spot_right_mm": 3.0, "spot_up_mm": -5.0})
        unread = ScreenSource(drive)
        assert " told " in table(unread) and "not read: as set last" in table(unread)


def test_a_proposal_accepted_elsewhere_a_moment_ago_is_not_accepted_twice(undecided, monkeypatch):
    """The other one stores when everything has been asked but the log is not held yet."""
    from steer.drive import Drive
    from steer.errors import InputRefused

    source, log = undecided, undecided.drive.log
    stroke = source.snapshot().advice.stroke
    with Drive.open(source.drive.folder, write=True) as other:
        held = log.append_decided

        def after_the_other(decide):
            other.accept()
            return held(decide)

        monkeypatch.setattr(log, "append_decided", after_the_other)
        with pytest.raises(InputRefused) as refused:
            source.accept()
    (event,) = log.of_kinds("accepted")
    assert str(refused.value) == (
        f"stroke {stroke + 1} was accepted already at {event.arrived[11:19]} UTC, in another window or program"
    )
    assert source.refresh() and source.snapshot().extra["decision"]["kind"] == "accepted"


async def test_the_window_that_comes_second_says_that_it_was_accepted_already(undecided, make_app):
    from screen_pilot import ready
    from test_other_screens import screen_text

    from steer.drive import Drive

    app = make_app(undecided, stale_minutes=0.0)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        with Drive.open(undecided.drive.folder, write=True) as other:
            other.accept()
        assert "proposed" in screen_text(app)
        await pilot.press("a")
        await pilot.pause()
        said = " ".join(screen_text(app).split())
        assert "was accepted already" in said and "in another window or program" in said
        assert "accepted: " in said  # the title
    assert len(undecided.drive.log.of_kinds("accepted")) == 1


def test_a_proposal_that_has_changed_since_it_was_shown_is_not_accepted_unseen(undecided):
    from steer.drive import Drive
    from steer.errors import InputRefused

    source = undecided
    shown = source.snapshot().advice
    with Drive.open(source.drive.folder, write=True) as other:
        other.add("check_shot", {"chainage_m": shown.chainage_m, "point": "face", "line_mm": 60.0,
                                 "level_mm": -60.0, "sd_mm": 1.0})  # fmt: skip
        other.accept_shot(other.log.last_sequence())
        now = other.advice()
    assert np.abs(np.subtract(now.correction.cylinder_mm, shown.correction.cylinder_mm)).max() > 1.0
    with pytest.raises(InputRefused, match="has changed just now"):
        source.accept(shown)
    assert not source.drive.log.of_kinds("accepted")
    source.accept(source.snapshot().advice)
    assert len(source.drive.log.of_kinds("accepted")) == 1


def test_a_real_drive_tells_a_proposal_that_changed_after_it_was_accepted(undecided):
    from tui.draw.spans import join
    from tui.draw.stroke_page import draw

    source = undecided
    source.accept()
    was = source.snapshot()
    assert "accepted: " in join(draw(_decided(was), 80, 23))
    face_m = was.advice.chainage_m
    shot = {"chainage_m": face_m, "point": "face", "line_mm": 60.0, "level_mm": 60.0, "sd_mm": 1.0}
    source.drive.add("check_shot", shot)
    source.drive.accept_shot(source.drive.log.last_sequence())
    now = source.snapshot()
    step = now.advice.correction.cylinder_mm[0] - was.advice.correction.cylinder_mm[0]
    said = " ".join(join(draw(_decided(now), 80, 23)).split())
    assert f"{was.advice.stroke + 1} accepted" in said and "; NOW CYLINDERS" in said
    assert f"cylinders 1 {'out' if step > 0 else 'in'} {abs(step):g} mm" in said and abs(step) > 1.0


def _decided(snapshot):
    from tui.draw.scene import Decision, Scene

    return Scene(snapshot, stale_after_s=0.0, decision=Decision(**snapshot.extra["decision"]))


async def test_no_setting_is_stored_while_the_drive_file_is_another(undecided, make_app):
    from screen_pilot import ready
    from test_other_screens import screen_text

    from steer.errors import InputRefused

    source = undecided
    path = source.drive.folder / "drive.toml"
    text, before = path.read_text(), source.drive.log.last_sequence()
    app = make_app(source, stale_minutes=0.0)

    async def after(*keys):
        await pilot.press(*keys)
        await pilot.pause()
        return " ".join(screen_text(app).split())

    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("o")
        path.write_text(text.replace("max_change_mm_per_m = 10.0", "max_change_mm_per_m = 1.0") + "# other\n")
        said = await after("ctrl+u", *"3 left", "enter", "ctrl+u", *"1 up", "enter")
        assert "drive.toml has changed since this was opened. No setting can be checked" in said
        await pilot.press("escape")
        await app.look()
        assert "NO PROPOSAL Drive file changed" in await after("z")
        said = await after("o")
        assert len(app.screen_stack) == 1 and "No setting can be checked: drive.toml has changed" in said
        for store in (source.accept, lambda: source.override(1.0, 1.0)):
            with pytest.raises(InputRefused, match=r"drive\.toml has changed"):
                store()
        assert source.drive.log.last_sequence() == before
        path.write_text(text)
        await app.look()
        assert "Own setting" in await after("o")


def test_an_own_setting_for_a_stroke_that_ended_meanwhile_is_refused(undecided):
    """It was typed for one stroke and would be stored for the next."""
    from steer.errors import InputRefused

    shown = undecided.snapshot().advice
    undecided.drive.stroke_end(shown.chainage_m + 0.9)
    with pytest.raises(
        InputRefused, match=f"coming stroke is {shown.stroke + 2} by now, not {shown.stroke + 1}"
    ):
        undecided.override(2.0, -1.0, shown)
    assert not undecided.drive.log.of_kinds("overridden")
    undecided.override(2.0, -1.0, undecided.snapshot().advice)
    assert undecided.drive.log.of_kinds("overridden")


def test_beyond_a_limit_is_stored_by_who_names_it_and_the_log_tells(undecided):
    from steer.errors import InputRefused
    from tui.draw.log_page import line_of

    shown = undecided.snapshot().advice
    wanted = (
        shown.now_right_mm_per_m,
        shown.now_up_mm_per_m + undecided.drive.file.machine.max_change_mm_per_m + 2.0,
    )
    for despite in ((), ("line_change",)):
        with pytest.raises(InputRefused, match="level would change by"):
            undecided.override(*wanted, shown, despite=despite)
    undecided.override(*wanted, shown, despite=("level_change",))
    (event,) = undecided.drive.log.of_kinds("overridden")
    assert event.body["beyond"] == ["level_change"] and "beyond: level change" in line_of(event).text
    with pytest.raises(InputRefused, match="both planes"):
        undecided.override(99.0, 99.0, shown, despite=("line_change", "level_change", "joint_angle"))


def test_the_forecast_of_an_own_setting_is_that_of_the_same_cylinders_proposed(undecided):
    """But for what the proposal's whole steps leave to the strokes after it. Further left where more left is set."""
    advice = undecided.snapshot().advice
    c = advice.correction
    undecided.override(c.right_mm_per_m, c.up_mm_per_m)
    same = undecided.snapshot().extra["own_forecast"]
    assert len(same) == len(advice.forecast)
    for own, proposed in zip(same, advice.forecast, strict=True):
        assert (own.line_mm, own.level_mm) == pytest.approx((proposed.line_mm, proposed.level_mm), abs=1.0)
        assert own.line_sd_mm == pytest.approx(proposed.line_sd_mm, rel=0.01)
    extra = undecided.snapshot().extra
    assert extra["own_eye_probability"] == pytest.approx(advice.eye_probability, abs=0.02)
    turn = r"joints ahead turn (\d+\.\d) mm/m"
    turns = [float(re.match(turn, text)[1]) for text in (extra["own_joint"], advice.joint)]
    assert turns[0] == pytest.approx(turns[1], abs=0.2)
    undecided.undo_last()
    assert undecided.snapshot().extra["own_forecast"] == ()
    undecided.override(c.right_mm_per_m - 3.0, c.up_mm_per_m)
    left = undecided.snapshot().extra["own_forecast"]
    assert left[2].line_mm < same[2].line_mm - 0.5
    assert left[2].level_mm == pytest.approx(same[2].level_mm, abs=1.0)


def test_a_joint_that_would_turn_too_far_for_an_own_setting_is_named(
    undecided,
):
    drive = undecided.drive
    advice = drive.advice()
    drive.file = replace(
        drive.file, pipe=drive.file.pipe.model_copy(update={"max_joint_angle_mm_per_m": 0.1})
    )
    proposed = drive.try_setting(advice.correction.right_mm_per_m, advice.correction.up_mm_per_m)
    assert not proposed.beyond, "the bore driven so far asks that of the joints"
    sharp = drive.try_setting(advice.now_right_mm_per_m - 9.0, advice.now_up_mm_per_m)
    assert sharp.beyond[-1].code == "joint_angle"
    assert "allowed are 0.1 mm/m" in sharp.beyond[-1].text


def test_what_lies_ahead_of_a_setting_that_is_tried_is_what_the_strips_show_once_it_stands(undecided):
    shown = undecided.snapshot().advice
    tried = undecided.try_setting(shown.now_right_mm_per_m - 4.0, shown.now_up_mm_per_m)
    undecided.override(shown.now_right_mm_per_m - 4.0, shown.now_up_mm_per_m, shown)
    assert tried.ahead and tried.ahead == undecided.snapshot().extra["own_forecast"]
    assert undecided.try_setting(99.0, 99.0).ahead == ()


def test_what_was_set_for_a_driven_stroke_is_not_taken_back(undecided):
    from steer.errors import InputRefused

    shown = undecided.snapshot().advice
    undecided.note("before")
    undecided.accept()
    undecided.drive.stroke_end(shown.chainage_m + 0.9)
    with pytest.raises(InputRefused, match=f"stroke {shown.stroke + 1} is driven"):
        undecided.undo_last()
    undecided.note("after")
    assert 'The note "after", written' in undecided.undo_last()
    with pytest.raises(InputRefused, match="stays in the log"):
        undecided.undo_last()
    assert [e.kind for e in undecided.drive.decisions] == ["note", "accepted"]


def test_two_windows_that_take_back_at_once_take_back_one(undecided):
    from steer.drive import Drive

    undecided.accept()
    with Drive.open(undecided.drive.folder, write=True) as other:
        assert other.undo_last() is not None
        assert "Nothing stands" in undecided.undo_last()
    assert len(undecided.drive.log.of_kinds("undone")) == 1


def test_readings_of_a_file_that_were_taken_hours_ago_are_said_to_be(undecided):
    """They come in now, so nothing else on the screens tells how old they are."""

    def said():
        return [n.text for n in undecided.snapshot().advice.notices if n.code == "readings_late"]

    shown = undecided.snapshot().advice
    assert not said()  # the sample's own time lies ahead of any clock
    undecided.drive.add("reading", {"chainage_m": shown.chainage_m, "time": "2020-01-01T07:59:00Z"})
    assert not said()  # one alone is a reading that comes late, and not the newest
    for minute in range(3):
        body = {"chainage_m": shown.chainage_m, "time": f"2020-01-01T08:0{minute}:00Z"}
        undecided.drive.add("reading", body)
    (text,) = said()
    assert "days before it came in" in text


@pytest.mark.parametrize(
    ("said", "arrived", "age"),
    [
        ("2026-03-01T08:00:00Z", "2026-03-01T08:14:00.000Z", None),
        ("2026-03-01T08:00:00Z", "2026-03-01T08:31:00.000Z", "31 min"),
        ("2026-03-01T08:00:00+02:00", "2026-03-01T09:00:00.000Z", "3 h"),
        ("2026-03-01T08:00:00", "2026-03-04T08:00:00.000Z", "3 days"),
        ("2099-01-01T00:00:00Z", "2026-03-01T08:00:00.000Z", None),
        (None, "2026-03-01T08:00:00.000Z", None),
    ],
)
def test_how_late_a_reading_came_in(said, arrived, age):
    from steer.cli.late_readings import late

    found = late(said, arrived, 10.0)
    assert bool(found) == (age is not None)
    if age:
        assert f"taken {age} before" in found[0].text


def test_what_stood_against_writing_when_it_was_opened_is_said_when_something_is_to_be_stored(
    sample, tmp_path, monkeypatch
):
    """A full disk, gone since: the connection stays what it was opened as."""
    import shutil
    import sqlite3

    from steer.cli.open import open_drive
    from steer.errors import FolderUnusable
    from steer.log import Log
    from steer.log.trouble import plain_words

    folder = tmp_path / "drive"
    shutil.copytree(sample, folder)

    def full(log):
        with plain_words(log.path):
            error = sqlite3.OperationalError("database or disk is full")
            error.sqlite_errorcode = sqlite3.SQLITE_FULL
            raise error

    with monkeypatch.context() as patched:
        patched.setattr(Log, "_open_writer", full)
        source = open_drive(folder)
    with pytest.raises(FolderUnusable, match=r"the disk is full.*leave and open again"):
        source.note("wet sand")
    source.close()
    source = open_drive(folder)
    source.note("wet sand")
    source.close()


def test_other_cylinders_than_were_shown_for_an_own_setting_are_not_stored(undecided):
    from steer.errors import InputRefused

    shown = undecided.snapshot().advice
    tried = undecided.try_setting(2.0, -1.0)
    other = tuple(mm + 0.5 for mm in tried.cylinder_mm)
    with pytest.raises(InputRefused, match="other cylinders make this setting by now"):
        undecided.override(2.0, -1.0, shown, other)
    assert undecided.override(2.0, -1.0, shown, tried.cylinder_mm).body["cylinder_mm"] == list(
        tried.cylinder_mm
    )


def test_no_account_is_written_with_a_tolerance_that_may_be_another(source, tmp_path):
    from steer.errors import InputRefused

    toml = source.drive.folder / "drive.toml"
    text = toml.read_text()
    toml.write_text(text.replace("line_mm = 50", "line_mm = 5"))
    assert toml.read_text() != text
    with pytest.raises(InputRefused, match="Its tolerance may be another: put the file back"):
        source.asbuilt_writer(str(tmp_path / "out.csv"))
    toml.write_text(text)
    source.asbuilt_writer(str(tmp_path / "out.csv"))()
    assert (tmp_path / "out.csv").exists()


def test_a_shot_that_waits_leaves_the_account_open_and_one_accepted_is_told(source, tmp_path):
    """Beside another that agrees, which the estimate of the real drive says, not a stand-in."""
    file = tmp_path / "two.csv"
    now = source.snapshot().advice
    face_m, line, level = now.chainage_m, now.estimate.line_mm, now.estimate.level_mm
    file.write_text(
        "chainage_m,point,line_mm,level_mm,sd_mm\n"
        f"{face_m},face,{line + 50:.1f},{level:.1f},2.0\n{face_m},face,{line:.1f},{level:.1f},2.0\n"
    )
    source.read_shots(str(file))
    source.refresh()
    far, near = sorted(source.snapshot().shots, key=lambda shot: shot.number)[-2:]
    assert (far.verdict, near.verdict) == ("waiting", "agrees")
    said = [*source.asbuilt().warnings, *source.asbuilt().summary][0]
    assert f"OPEN: check shot {far.number} waits for a word" in said
    source.accept_shot(far.number)
    shots = {shot.number: shot for shot in source.snapshot().shots}
    assert shots[far.number].verdict == "disagrees" and shots[far.number].accepted
    assert not shots[near.number].accepted
