"""Check shots, as-built, log, help and guide by their keys; each kept as text at two sizes."""

from dataclasses import replace

import fake_drive
import pytest
from kept import keep, screen_text
from screen_pilot import ready, until

from steer.errors import FolderUnusable

KEYS = {"shots": "2", "asbuilt": "3", "log": "l", "help": "question_mark", "guide": "g"}


async def settle(pilot) -> None:
    for _ in range(3):
        await pilot.pause()


@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
@pytest.mark.parametrize("state", ["good", "warning", "stale", "empty"])
async def test_kept_pictures(make_app, clock, state, size):
    drive = fake_drive.FakeDrive(fake_drive.STATES["good" if state == "stale" else state]())
    if state == "empty":
        drive.asbuilt = lambda: fake_drive.Built((), (), ("Nothing is built yet.",))
        drive.events = lambda after=0: iter(())
    if state == "stale":
        clock.move(1300.0)
    app = make_app(drive)
    async with app.run_test(size=size) as pilot:
        await ready(app, pilot)
        for name in ("shots", "asbuilt", "log"):
            await settle(pilot)
            await pilot.press(KEYS[name])
            await settle(pilot)
            keep(f"{name}-{state}-{size[0]}x{size[1]}", screen_text(app))


@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
@pytest.mark.parametrize("name", ["help", "guide"])
async def test_kept_pictures_of_help_and_guide(make_app, name, size):
    app = make_app()
    async with app.run_test(size=size) as pilot:
        await ready(app, pilot)
        await pilot.press(KEYS[name])
        await settle(pilot)
        text = screen_text(app)
        keep(f"{name}-{size[0]}x{size[1]}", text)
        assert "shots" not in text.splitlines()[-1]
        await pilot.press("escape")
        await settle(pilot)
        assert "STROKE 97" in screen_text(app)


async def test_ascii_only_on_every_screen(make_app):
    app = make_app(fake_drive.FakeDrive(fake_drive.warning()), ascii_only=True)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        for key in ("2", "3", "l", "1", "question_mark", "escape", "g", "escape", "o"):
            await pilot.press(key)
            await settle(pilot)
            lines = [strip.text for strip in app.screen._compositor.render_strips()]
            assert all(line.isascii() for line in lines), key


async def test_help_names_every_key_that_works_and_none_else(make_app):
    from tui.widgets.key_line import keys_of

    app = make_app()
    async with app.run_test(size=(120, 40)) as pilot:
        await ready(app, pilot)
        for key in ("1", "2", "3", "l"):
            await pilot.press(key)
            await settle(pilot)
            screen = app.screen
            offered = dict(keys_of(screen, shown_only=False))
            await pilot.press("question_mark")
            await settle(pilot)
            text = screen_text(app)
            assert all(f" {key}" in text and does in text for key, does in offered.items())
            assert "Focus" not in text and "Copy" not in text
            await pilot.press("question_mark")
            await settle(pilot)
            assert app.screen is screen


@pytest.mark.parametrize(("name", "last"), [("help", "practice hides it."), ("guide", " first.")])
async def test_help_and_guide_scroll_where_they_are_longer_than_the_screen(make_app, name, last):
    app = make_app()
    async with app.run_test(size=(60, 15)) as pilot:
        await ready(app, pilot)
        await pilot.press("3", KEYS[name])
        await settle(pilot)
        assert "more below" in screen_text(app) and last not in screen_text(app)
        first = screen_text(app)
        await pilot.press("end")
        await settle(pilot)
        assert "more below" not in screen_text(app) and last in screen_text(app).splitlines()[-2]
        await pilot.press("home")
        await settle(pilot)
        assert screen_text(app) == first
        await pilot.press("end")
        await pilot.resize_terminal(120, 40)
        await settle(pilot)
        assert last in screen_text(app) and len(screen_text(app).splitlines()) == 40


async def test_keys_for_what_a_drive_cannot_do_are_not_offered(make_app):
    class Plain:
        """Only the methods that every source has."""

        def __init__(self):
            self._drive = fake_drive.FakeDrive()
            for name in ("refresh", "snapshot", "accept", "override", "note", "undo_last"):
                setattr(self, name, getattr(self._drive, name))

    app = make_app(Plain())
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("2")
        await settle(pilot)
        foot = app.screen.query_one("#keys").text
        assert "accept" not in foot and "read file" not in foot and "stroke" in foot
        await pilot.press("a", "f", "x", "3")
        await settle(pilot)
        assert "no as-built account" in screen_text(app)
        await pilot.press("l")
        await settle(pilot)
        assert "shows no events" in screen_text(app)


@pytest.mark.parametrize(("key", "verdict"), [("a", "agrees"), ("r", "rejected"), ("x", "withdrawn")])
async def test_word_on_the_shot_under_the_cursor(make_app, key, verdict):
    drive = fake_drive.FakeDrive(fake_drive.warning())
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("2")
        await settle(pilot)
        assert "It disagrees" in screen_text(app) and "For a moved reference" in screen_text(app)
        await pilot.press("up")
        await settle(pilot)
        assert "Shot 2," in screen_text(app)
        await pilot.press("down", key)
        await settle(pilot)
        assert drive.calls == [("shot", 3, verdict)]
        assert "The face stays" in screen_text(app) and "Key u takes that back" in screen_text(app)
        await pilot.press("u")
        await settle(pilot)
        assert drive.calls[1:] == [("shot", 3, "waiting")]
        assert "Shot 3 stands as it came in" in screen_text(app) and "It disagrees" in screen_text(app)
        await pilot.press("u")
        await settle(pilot)
        assert len(drive.calls) == 2 and "nothing to take back" in " ".join(screen_text(app).split())


async def test_file_of_shots_refused_in_full_then_read(make_app, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "monday.csv").write_text("x")
    (tmp_path / "monday.txt").write_text("x")
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("2", "f")
        await settle(pilot)
        await pilot.press("m", "tab")
        await settle(pilot)
        assert app.screen.query_one("#line").value == "monday."
        assert "monday.csv" in str(app.screen.query_one("#said").content)
        await pilot.press(*"txt", "enter")
        await settle(pilot)
        said = str(app.screen.query_one("#said").content)
        assert "line 2: sd_mm: missing" in said and "more lines" in said and drive.calls == []
        for _ in range(3):
            await pilot.press("backspace")
        await pilot.press("c", "tab", "enter")
        await settle(pilot)
        assert drive.calls == [("read_shots", "monday.csv")]
        assert "2 shots." in screen_text(app)


async def test_asbuilt_zooms_scrolls_and_follows_the_pipe(make_app):
    app = make_app()
    async with app.run_test(size=(120, 40)) as pilot:
        await ready(app, pilot)
        await pilot.press("3")
        await settle(pilot)
        strips = app.screen.query_one("#page")
        whole = strips.text
        assert "shaft" in whole and "XX" in whole and "~~~" in whole
        await pilot.press("plus", "plus", "plus")
        await settle(pilot)
        near = app.screen.where(120)
        assert near.to_m - near.from_m == pytest.approx(20.0)
        await pilot.press("left")
        await settle(pilot)
        assert app.screen.where(120).from_m == pytest.approx(near.from_m - 5.0)
        await pilot.press("home")
        await settle(pilot)
        assert app.screen.where(120).from_m == pytest.approx(0.0)
        await pilot.press("end")
        await settle(pilot)
        last = app.screen.where(120)
        assert last.from_m <= 93.0 <= last.to_m
        await pilot.press("minus", "minus", "minus", "minus")
        await settle(pilot)
        assert strips.text == whole


@pytest.mark.parametrize(
    ("size", "beside"),
    [((80, 24), False), ((119, 40), False), ((120, 24), True), ((160, 50), True), ((200, 60), True)],
)
async def test_pipes_stand_beside_the_strips_where_there_is_room(make_app, size, beside):
    app = make_app()
    async with app.run_test(size=size) as pilot:
        await ready(app, pilot)
        await pilot.press("3")
        await settle(pilot)
        lines = screen_text(app).splitlines()
        assert any("LINE from above" in line and "pipe" in line for line in lines) == beside
        assert all(len(line) <= size[0] for line in lines) and len(lines) == size[1]
        pipes = app.screen.query_one("#list")
        rows = [line for line in pipes.text.splitlines() if "front" not in line and "at m" not in line]
        assert len(rows) >= 3
        assert all(row.endswith(("inside", "outside", "cannot tell")) for row in rows)
        await pilot.resize_terminal(80, 24)
        await settle(pilot)
        strips, pipes = app.screen.query_one("#page").region, app.screen.query_one("#list").region
        assert pipes.y == strips.bottom and pipes.x == strips.x == 0


EVIDENCE = (
    "For a survey blunder: ten times smaller it would agree; the spot has not jumped since the last shot that "
    "agreed, at 90.0 m; a slow turn would not show as a jump; shot 2 (at 60.0 m) at the same place agrees with "
    "the estimate.",
    "For a moved reference: the beam would have to have turned by 0.43 mm/m or shifted by 112 mm.",
)


async def test_evidence_for_either_explanation_stands_on_a_small_screen(make_app, clock):
    """Both in full while there are rows for them; cut, each keeps its beginning, and its figures no neighbour."""
    good = fake_drive.good()
    odd = replace(good.shots[-1], innovation_line_mm=-119.0, innovation_level_mm=-4.0, evidence=EVIDENCE)
    odd = replace(odd, innovation_sd_line_mm=3.18, verdict="waiting")
    drive = fake_drive.FakeDrive(replace(good, shots=(*good.shots[:-1], odd)))
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("2")
        await settle(pilot)
        text = screen_text(app)
        keep("shots-evidence-80x24", text)
        words = " ".join(text.split())
        assert all(evidence in words for evidence in EVIDENCE)
        assert "119 left 4 low 37 sd waiting" in words and words.count("119 mm further left (37 sd)") == 1
        answer = f"Not stored: check shot 3: {'it is neither accepted nor ' * 4}withdrawn: there is nothing to take back."
        app.say(answer)
        await settle(pilot)
        words = " ".join(screen_text(app).split())
        assert all(said in words for said in (*EVIDENCE, answer))
        clock.move(60.0)
        await app.look()
        odd = replace(odd, evidence=tuple(f"{e[:-1]} {'and so on ' * 60}." for e in EVIDENCE))
        drive.put(replace(good, shots=(*good.shots[:-1], odd), log_sequence=good.log_sequence + 1))
        await app.look()
        await settle(pilot)
        text = screen_text(app)
        assert "For a survey blunder" in text and "For a moved reference" in text and "..." in text
        lines = text.splitlines()
        assert sum(line.endswith(("agrees", "waiting")) for line in lines[4:]) == 3 and "q quit" in lines[-1]
        await pilot.press("up")
        await settle(pilot)
        assert app.screen.query_one("#detail").size.height == 11


@pytest.mark.parametrize("line_mm", [0.1, -4.0, -118.9, 4321.0])
@pytest.mark.parametrize("level_mm", [0.1, -4.0, -118.9, 4321.0])
def test_figures_of_a_shot_never_touch(line_mm, level_mm):
    from tui.draw import shots_page
    from tui.draw.spans import plain

    shot = replace(
        fake_drive.good().shots[0],
        line_mm=line_mm,
        level_mm=level_mm,
        innovation_line_mm=line_mm,
        innovation_level_mm=level_mm,
        innovation_sd_line_mm=3.0,
        innovation_sd_level_mm=3.0,
    )
    largest = max(abs(line_mm), abs(level_mm)) / 3.0
    sds = f"{largest:.1f}" if largest < 9.95 else f"{largest:.0f}"

    def told(value, right, left):
        return ["0"] if abs(value) < 0.5 else [f"{abs(value):.0f}", right if value > 0 else left]

    figures = [*told(line_mm, "right", "left"), *told(level_mm, "high", "low")]
    assert plain(shots_page.item(shot, 80)).split()[3:] == [*figures, *figures, sds, "sd", "agrees"]


def test_a_shot_ahead_of_the_face_is_not_said_to_disagree():
    from tui.draw import shots_page
    from tui.draw.scene import Scene
    from tui.draw.spans import plain

    good = fake_drive.good()
    shot = replace(good.shots[-1], verdict="waiting", reached=False)
    scene = Scene(replace(good, shots=(shot,)))
    said = " ".join(plain(row) for row in shots_page.detail(scene, shot, "", 80))
    assert "it counts when the readings get there" in said and "disagree" not in said and "It lay" not in said
    assert plain(shots_page.item(shot, 80)).endswith("  ahead")
    assert "1 taken, 1 ahead" in plain(shots_page.title_rows(scene, 80)[0])


FORCE = (
    "PERMISSIBLE FORCE EXCEEDED in 6 strokes (ending at 103.5, 104.4, 105.3, 106.2, 107.1, 108.0 m).",
    "PERMISSIBLE FORCE MAY HAVE BEEN EXCEEDED in 1 further stroke (ending at 102.6 m): above it at the upper "
    "limit of the angles.",
)


@pytest.mark.parametrize("number", [2, 4, 9])
@pytest.mark.parametrize("size", [(80, 24), (120, 24), (80, 18)])
async def test_no_warning_of_the_asbuilt_page_is_cut_for_want_of_rows(make_app, size, number):
    """However much there is to say, each warning begins on a row of its own, before all else."""
    drive = fake_drive.FakeDrive()
    warnings = (*FORCE, *(f"LIMIT {n} PASSED, and {'much more ' * 20}" for n in range(number - 2)))
    totals = (*drive.asbuilt().summary, "joints", "force")
    built = replace(drive.asbuilt(), warnings=warnings, summary=totals)
    drive.asbuilt = lambda: built
    app = make_app(drive)
    async with app.run_test(size=size) as pilot:
        await ready(app, pilot)
        await pilot.press("3")
        await settle(pilot)
        lines = screen_text(app).splitlines()
        starts = [line[3:] for line in lines if line.startswith(" ! ")]
        assert len(starts) == number
        assert all(text.startswith(start[:25]) for text, start in zip(warnings, starts, strict=True))
        assert lines[1].startswith(" ! PERMISSIBLE FORCE EXCEEDED in 6 strokes")
        assert any(line.startswith(" Line: ") for line in lines)
        assert "q quit" in lines[-1] and "It advises" in lines[-2]
        if size == (80, 24):
            keep(f"asbuilt-{number}-warnings-80x24", screen_text(app))


async def test_asbuilt_says_when_the_log_has_grown(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(120, 40)) as pilot:
        await ready(app, pilot)
        await pilot.press("3")
        await settle(pilot)
        assert "key r" not in screen_text(app)
        drive.put(replace(drive.current, log_sequence=drive.current.log_sequence + 1))  # a late shot
        await app.look()
        await settle(pilot)
        assert "before more came in; key r: with the newest" in screen_text(app)
        further = replace(drive.current.advice, chainage_m=96.5)
        drive.put(replace(drive.current, advice=further, log_sequence=drive.current.log_sequence + 1))
        await app.look()
        await settle(pilot)
        assert "only to 96.00 m; key r: with the newest" in screen_text(app)
        assert "r with the newest" in screen_text(app).splitlines()[-1]
        await pilot.press("r")
        await settle(pilot)
        assert "key r" not in screen_text(app) and "r with" not in screen_text(app).splitlines()[-1]


async def test_asbuilt_is_of_the_newest_again_when_one_comes_back_to_it(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("3")
        await settle(pilot)
        old = drive.asbuilt().summary
        assert old[1] in screen_text(app)
        await pilot.press("1")
        built = replace(drive.asbuilt(), summary=(old[0], "Level: figures of the newest."))
        drive.asbuilt = lambda: built
        drive.put(replace(fake_drive.good(97.0), log_sequence=drive.current.log_sequence + 40))
        await app.look()
        await pilot.press("3")
        await settle(pilot)
        assert "figures of the newest" in screen_text(app) and old[1] not in screen_text(app)
        assert "key r" not in screen_text(app)


@pytest.mark.parametrize("key", ["2", "3"])
@pytest.mark.parametrize("size", [(80, 24), (120, 40), (40, 12)])
async def test_old_figures_are_said_to_be_old_and_no_longer_when_readings_come(make_app, clock, key, size):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=size) as pilot:
        await ready(app, pilot)
        await pilot.press(key)
        await settle(pilot)
        fresh = screen_text(app)
        assert "Readings stopped" not in fresh
        clock.move(16 * 60)
        await app.look()
        await settle(pilot)
        assert screen_text(app).splitlines()[1].startswith(" ! Readings stopped 16 min")
        drive.trouble = OSError("drive.db is gone")
        await app.look()
        await settle(pilot)
        assert screen_text(app).splitlines()[1].startswith(" ! Log out of reach: drive.db")
        drive.trouble = None
        arrived = {"last_reading_arrival": "2026-03-04T09:57:20+00:00"}
        drive.put(replace(drive.current, readings_used=2000, extra=arrived))
        await app.look()
        await settle(pilot)
        assert screen_text(app) == fresh


async def test_asbuilt_exports_under_a_name_of_the_persons(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("3", "e")
        await until(pilot, lambda: app.screen.query("#line"))
        assert app.screen.query_one("#line").value == "willow/asbuilt-96.00m.xlsx"
        await pilot.press(*["backspace"] * 4, *"dxf", "enter")
        await until(pilot, lambda: "Written: willow/asbuilt-96.00m.dxf" in screen_text(app))
        assert drive.calls == [("export", "willow/asbuilt-96.00m.dxf")]


@pytest.mark.parametrize(("key", "ending"), [("p", "pdf"), ("v", "csv")])
async def test_asbuilt_exports_by_one_key_and_says_where(make_app, key, ending):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("3")
        await settle(pilot)
        assert f"{key} {ending.upper()}" in screen_text(app).splitlines()[-1]
        await pilot.press(key)
        await until(pilot, lambda: f"Written: willow/asbuilt-96.00m.{ending}" in screen_text(app))
        assert drive.calls == [("export", f"willow/asbuilt-96.00m.{ending}")]


async def test_while_a_report_is_written_readings_come_in_and_keys_work(make_app):
    import threading

    gate = threading.Event()
    drive = fake_drive.FakeDrive()
    drive.asbuilt_writer = lambda path: lambda: gate.wait(20) and path
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("3", "p")
        await until(pilot, lambda: "Writing willow/asbuilt-96.00m.pdf" in screen_text(app))
        drive.put(fake_drive.good(97.0))
        await app.look()
        await pilot.press("v")
        await until(pilot, lambda: "Another file is still being written" in screen_text(app))
        await pilot.press("1")
        await until(pilot, lambda: "STROKE 98  proposed" in screen_text(app))
        gate.set()
        await until(pilot, lambda: "Written: willow/asbuilt-96.00m.pdf" in screen_text(app))


@pytest.mark.parametrize(
    ("trouble", "said"),
    [
        (OSError(28, "No space left on device"), "No space left on device"),
        (FolderUnusable(f"{'/deep' * 20}/a.csv: cannot be written: no permission"), "no permission"),
        (ZeroDivisionError("odd"), "Fault in the program, please report: ZeroDivisionError: odd"),
    ],
    ids=["disk", "folder", "library"],
)
async def test_what_cannot_be_written_is_said_in_full_and_the_screen_stays(make_app, trouble, said):
    def writer(path):
        def write():
            raise trouble

        return write

    drive = fake_drive.FakeDrive()
    drive.asbuilt_writer = writer
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("3", "v")
        await until(pilot, lambda: "Not written" in screen_text(app))
        words = " ".join(screen_text(app).split())
        assert said in words and "q quit" in screen_text(app).splitlines()[-1]
        drive.asbuilt_writer = fake_drive.FakeDrive().asbuilt_writer
        await pilot.press("v")
        await until(pilot, lambda: "Written:" in screen_text(app))


async def test_log_filters_and_searches(make_app):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("l")
        await settle(pilot)
        assert "all but readings: 2 lines" in screen_text(app)
        await pilot.press("f")
        text = screen_text(app)
        assert "notes and decisions: 1 lines" in text
        assert "Kind shown: notes and decisions. Key f again: advised. Key / asks for a text." in text
        await pilot.press("f", "f", "f")
        assert "readings: 300 lines" in screen_text(app)
        await pilot.press("f", "slash")
        await settle(pilot)
        await pilot.press(*"sand", "enter")
        await settle(pilot)
        text = screen_text(app)
        assert "everything, with 'sand': 1 lines" in text and "wet sand at the face" in text


def test_what_was_advised_is_no_decision():
    from tui.draw.log_page import FILTERS, LogLine, passes

    advised, accepted = LogLine(1, "", "advised", ""), LogLine(2, "", "accepted", "")
    for name in FILTERS:
        assert passes(advised, name, "") == (name in ("all but readings", "advised", "everything"))
    assert passes(accepted, "notes and decisions", "")


async def test_a_search_for_what_a_notice_says_is_told_where_it_stands(make_app):
    app = make_app(fake_drive.FakeDrive(fake_drive.warning()))
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("l", "slash", *"LIKELY", "enter")
        await settle(pilot)
        text = " ".join(screen_text(app).split())
        assert "holds 'LIKELY'. A notice above does. Key f: the next kind" in text
        assert "THIS EVENT" not in text
        await pilot.press("slash", *"nowhere", "enter")
        await settle(pilot)
        assert "A notice above does" not in screen_text(app)


async def test_list_moves_by_row_page_and_end(make_app):
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("l", "f", "f", "f", "f")
        await settle(pilot)
        lines = app.screen.query_one("#list")
        assert lines.cursor == 299
        for key, cursor in (("home", 0), ("down", 1), ("j", 2), ("k", 1), ("up", 0), ("end", 299)):
            await pilot.press(key)
            assert lines.cursor == cursor
        await pilot.press("pageup")
        assert 270 < lines.cursor < 299
        await pilot.press("pagedown")
        assert lines.cursor == 299


async def test_before_the_log_was_read_no_screen_says_that_it_is_empty(make_app):
    import threading

    gate = threading.Event()

    def opened():
        gate.wait(20)
        return fake_drive.FakeDrive()

    app = make_app(opened, name="willow/lane")
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(pilot)
        for key in "123l":
            await pilot.press(key)
            await settle(pilot)
            text = screen_text(app)
            assert "The log of willow/lane is being read." in text, text
            assert not any(word in text for word in ("No ", "0 ", "Nothing")) or key == "1", text
            assert "No notices" not in text
        gate.set()
        await until(pilot, lambda: "check shot" in screen_text(app))


async def test_letters_and_tab_typed_at_once_keep_their_order(make_app, tmp_path, monkeypatch):
    """Over a slow link keys come in one lump; the Tab completes what was typed before it."""
    from textual import events

    monkeypatch.chdir(tmp_path)
    (tmp_path / "monday.csv").write_text("")
    app = make_app()
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("2", "f")
        await settle(pilot)
        for key, character in (*((c, c) for c in "mon"), ("tab", "\t"), ("x", "x")):
            app.post_message(events.Key(key, character))
        await until(pilot, lambda: app.screen.query_one("#line").value.endswith("x"))
        assert app.screen.query_one("#line").value == "monday.csvx"


async def test_nothing_in_the_log_steers_the_terminal(make_app):
    from types import SimpleNamespace

    odd = {"text": "a\x1b[2Jb \u202ec", "more\x9b": "\x07"}
    drive = fake_drive.FakeDrive()
    event = SimpleNamespace(sequence=1, arrived="\x1b]0;an hour ago", kind="no\rte", body=odd)
    drive.events = lambda after=0: iter([event][after:])
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("l")
        await until(pilot, lambda: r"a\x1b[2Jb \u202ec" in screen_text(app))
        assert all(line.isprintable() for line in screen_text(app).split("\n"))


async def test_the_event_under_the_cursor_is_said_in_full(make_app):
    from types import SimpleNamespace

    long = "the foreman says that the lubrication pump stood still from half past nine until ten, and that it runs"
    drive = fake_drive.FakeDrive()
    events = [
        SimpleNamespace(sequence=n, arrived="2026-03-04T09:41:20", kind="file", body=body)
        for n, body in enumerate(({"text": long}, {"rows": 1, "hold": False, "asks": True}), 1)
    ]
    drive.events = lambda after=0: iter([e for e in events if e.sequence > after])
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("l")
        await until(pilot, lambda: "asks, rows 1" in screen_text(app))
        assert "hold" not in screen_text(app) and long[-20:] not in screen_text(app)
        await pilot.press("up")
        await until(pilot, lambda: long[-20:] in screen_text(app))
        await pilot.press("n", *"wet", "enter")
        await until(pilot, lambda: "Note stored" in screen_text(app))


async def test_a_shot_that_comes_in_late_is_under_the_cursor(make_app):
    drive = fake_drive.FakeDrive()
    late = replace(drive.current.shots[0], number=77, chainage_m=45.0)

    def read_shots(path):
        first, *rest = drive.current.shots
        drive.current = replace(drive.current, shots=(first, late, *rest))
        drive._store("read_shots", path)
        return "1 shot."

    drive.read_shots = read_shots
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("2", "f")
        await settle(pilot)
        await pilot.press(*"a.csv", "enter")
        await until(pilot, lambda: "Shot 77, face, at 45.00 m" in screen_text(app))


@pytest.mark.parametrize("behind", ["1", "2", "3", "l"])
@pytest.mark.parametrize("over", [(), ("g",), ("question_mark",), ("g", "question_mark"), ("n",), ("f",)])
async def test_a_terminal_made_tiny_ends_nothing(make_app, behind, over):
    app = make_app(fake_drive.FakeDrive(fake_drive.warning()))
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press(behind, *over)
        await settle(pilot)
        front, wide = app.screen, screen_text(app)
        for size in ((20, 5), (16, 4), (2, 2), (80, 24)):
            await pilot.resize_terminal(*size)
            await settle(pilot)
            assert app.screen.size == size
        assert app.screen is front and screen_text(app) == wide


@pytest.mark.parametrize("size", [(30, 12), (40, 16), (60, 20), (80, 24), (120, 40)])
async def test_pages_about_other_things_say_in_a_row_what_stands_and_where_to_read_it(make_app, size):
    drive = fake_drive.FakeDrive(fake_drive.warning())
    app = make_app(drive)
    async with app.run_test(size=size) as pilot:
        await ready(app, pilot)
        for key in ("2", "3"):
            await pilot.press(key)
            await settle(pilot)
            (row,) = [line for line in screen_text(app).splitlines() if line.lstrip().startswith("! 3")]
            assert ("key l: The spot" if size[0] >= 40 else "l: The") in row, row
            if size[0] >= 80:
                assert "The spot jumped by 9 mm and stayed, the heading" in row
        advice = replace(drive.current.advice, notices=())
        drive.put(replace(drive.current, advice=advice))
        await app.look()
        for key in ("2", "3"):
            await pilot.press(key)
            await settle(pilot)
            assert "notices" not in screen_text(app) and "! 3" not in screen_text(app)


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_every_screen_says_that_the_drive_file_is_another(make_app, size):
    drive = fake_drive.FakeDrive(fake_drive.warning())
    app = make_app(drive)
    async with app.run_test(size=size) as pilot:
        await ready(app, pilot)
        changed = "drive.toml has changed since this was opened."
        drive.put(replace(drive.current, extra=drive.current.extra | {"drive_file": changed}))
        await app.look()
        for key in ("1", "2", "3", "l"):
            await pilot.press(key)
            await settle(pilot)
            said = " ".join(screen_text(app).split())
            assert changed in said, key
            assert "The spot jumped by 9 mm" in said, key


def _stopped_scenes():
    from steer.advice import Notice
    from tui.draw.scene import Scene

    good = fake_drive.good()
    lost = Notice("chainage_jumped", "The chainage counter jumped back by 3.0 m at 96.0 m. See to it.", 96.0)
    stuck = Notice(
        "spot_stuck", "What is read of the target has stood at exactly 5 mm right. Check it.", 90.0
    )
    stands = replace(good, advice=replace(good.advice, trusted=False, notices=(stuck,)))
    counter = replace(good, advice=replace(good.advice, trusted=False, notices=(lost,)))
    yield Scene(None, opening="lane")
    yield Scene(good, trouble="no such file")
    yield Scene(good, age_s=1300.0)
    yield Scene(good, age_s=5.0, clock_behind_s=900.0)
    yield Scene(replace(good, extra={"drive_file": "drive.toml has changed since this was opened."}))
    yield Scene(replace(good, extra={"hidden": "You practise without the proposal."}))
    yield Scene(counter, age_s=5.0)
    yield Scene(stands, age_s=5.0)
    yield from (Scene(fake_drive.STATES[state](), age_s=5.0) for state in ("unsure", "opposite", "empty"))


async def test_help_lists_every_reason_why_there_is_no_proposal(make_app):
    from tui.draw.scene import Stop, blocked

    met = [blocked(scene).stop for scene in _stopped_scenes()]
    assert sorted(stop.name for stop in met) == sorted(stop.name for stop in Stop)  # none that is never told
    app = make_app()
    async with app.run_test(size=(120, 60)) as pilot:
        await ready(app, pilot)
        await pilot.press("question_mark")
        await settle(pilot)
        said = " ".join(screen_text(app).split()).split("No proposal: ")[1]
        assert all(stop.in_help in said for stop in Stop)
        for reason in ("clock is behind", "counter jumped or went back", "drive.toml has changed"):
            assert reason in said


async def test_only_the_rows_in_sight_are_made_however_long_the_log(make_app, monkeypatch):
    from tui.draw import log_page

    made = []
    short = log_page.short
    monkeypatch.setattr(log_page, "short", lambda text, room: made.append(text) or short(text, room))
    drive = fake_drive.FakeDrive()
    bodies = [("note", {"text": f"note {n}"}) for n in range(3000)]
    drive.events = lambda after=0: iter(
        [fake_drive.Logged(n, fake_drive.ARRIVED, *b) for n, b in enumerate(bodies, 1) if n > after]
    )
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press("l")
        await until(pilot, lambda: "3,000 lines" in screen_text(app) and "note 2999" in screen_text(app))
        made.clear()
        await pilot.press("up")
        await settle(pilot)
        assert 0 < len(made) < 3 * 24
        await pilot.press("home")
        await settle(pilot)
        assert "note 0" in screen_text(app)


def test_a_held_line_of_the_log_has_no_dictionary_and_shares_the_name_of_its_kind():
    from tui.draw.log_page import line_of

    kinds = ["".join(("read", "ing")) for _ in range(2)]
    lines = [line_of(fake_drive.Logged(n, fake_drive.ARRIVED, kinds[n], {"chainage_m": 1.0})) for n in (0, 1)]
    assert not any(hasattr(line, "__dict__") for line in lines)
    assert kinds[0] is not kinds[1] and lines[0].kind is lines[1].kind


@pytest.mark.parametrize("key", ["2", "3", "l"])
async def test_both_reasons_are_said_where_the_drive_file_changed_and_readings_stopped(make_app, clock, key):
    drive = fake_drive.FakeDrive()
    said = {"drive_file": "drive.toml has changed since this was opened."}
    drive.current = replace(drive.current, extra=drive.current.extra | said)
    clock.move(1300.0)
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        await pilot.press(key)
        await settle(pilot)
        text = " ".join(screen_text(app).split())
        assert said["drive_file"] in text and "Readings stopped 21 min ago" in text


async def test_what_to_do_about_a_log_out_of_reach_is_what_mends_it(make_app):
    drive = fake_drive.FakeDrive()
    app = make_app(drive)
    async with app.run_test(size=(80, 24)) as pilot:
        await ready(app, pilot)
        drive.trouble = FolderUnusable("drive.db: the log is gone from its place")
        await app.look()
        await settle(pilot)
        assert "Do   It is tried again twice a second." in screen_text(app)
        drive.trouble = FolderUnusable("drive.db: another log lies in its place")
        drive.trouble.todo = "Leave (key q) and open again."
        await app.look()
        await settle(pilot)
        assert "Do   Leave (key q) and open again." in screen_text(app)
        assert "tried again" not in screen_text(app)


@pytest.mark.parametrize("width", [80, 120])
def test_a_shot_accepted_though_it_disagrees_says_both(width):
    from tui.draw import shots_page
    from tui.draw.scene import Scene
    from tui.draw.spans import plain

    base = fake_drive.good()
    shot = replace(base.shots[-1], verdict="disagrees", accepted=True)
    scene = Scene(replace(base, shots=(shot,)))
    row = plain(shots_page.item(shot, width - 2))
    assert row.endswith("accepted!" if width == 80 else "accepted, disagrees") and len(row) <= width - 2
    assert "1 taken, 1 accepted but disagrees" in plain(shots_page.title_rows(scene, width)[0])
    told = " ".join(plain(line) for line in shots_page.detail(scene, shot, "", width))
    assert "Accepted, it counts, and it disagrees" in told
    # one that came in by itself has no person's word
    fed = replace(shot, accepted=False)
    assert plain(shots_page.item(fed, width - 2)).endswith("disagrees")
    assert "ccepted" not in " ".join(plain(line) for line in shots_page.detail(scene, fed, "", width))
    # one that others confirm is what is believed, no question any more
    sure = replace(shot, confirmed="shot 9 (at 94.0 m) agrees")
    scene = Scene(replace(base, shots=(sure,)))
    row = plain(shots_page.item(sure, width - 2))
    assert row.endswith("accepted") and not row.startswith("!")
    assert "1 taken, 1 accepted " in plain(shots_page.title_rows(scene, width)[0])
    told = " ".join(" ".join(plain(line) for line in shots_page.detail(scene, sure, "", width)).split())
    assert "shot 9 (at 94.0 m) agrees now: the reference is taken to have moved" in told
    assert "disagrees" not in told and "Shoot again" not in told
    # without a person's word it still needs one
    told = shots_page.detail(scene, replace(sure, accepted=False), "", width)
    assert "agrees now: the reference is taken to have moved. Key a accepts it" in " ".join(
        " ".join(plain(line) for line in told).split()
    )


@pytest.mark.parametrize("code", ["beam_lost", "spot_stuck", "survey_due"])
@pytest.mark.parametrize("left_m", [8.2, -1.0])
def test_the_next_survey_says_that_it_is_foretold_without_a_spot(code, left_m):
    from steer.advice import Notice
    from tui.draw import shots_page
    from tui.draw.scene import Scene
    from tui.draw.spans import plain

    base = fake_drive.good()
    advice = replace(base.advice, notices=(Notice(code, "So it is.", 90.0),), next_survey_m=96.0 + left_m)
    rows = shots_page.title_rows(Scene(replace(base, advice=advice)), 80)
    (said,) = (plain(row) for row in rows if "Next check survey" in plain(row))
    assert said.endswith(", as no spot is read") == (code != "survey_due" and left_m > 0)
