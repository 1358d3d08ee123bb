"""The report's own care: nothing cut short that fits a drive on a national grid, nothing said that is over."""

import re
from dataclasses import replace

import numpy as np
import pytest

from steer.advice import Notice
from steer.asbuilt import AsBuilt, assemble, string_words, words
from steer.asbuilt.doubt import Doubt
from steer.asbuilt.record import Judged
from steer.asbuilt.report import closing, cover, listing, surveys
from steer.asbuilt.report.sheet import SETTINGS, Running, Sheet, evenly
from steer.asbuilt.totals import Run
from steer.cli.asbuilt_view import view
from steer.estimate.possible import Jump


def _far(judged: Judged) -> Judged:
    """The same on a grid of seven digits, at a four-digit chainage's width and far off the axis."""
    lie = replace(judged.lie, offset_mm=judged.lie.offset_mm - 400.0, sd_mm=judged.lie.sd_mm + 20.0)
    return replace(
        judged, lie=lie, easting_m=judged.easting_m + 3_500_000.0, northing_m=judged.northing_m + 5_800_000.0,
        level_m=judged.level_m + 1_000.0,
    )  # fmt: skip


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_no_figure_of_a_table_is_cut_short(record: AsBuilt, paper: str) -> None:
    import matplotlib

    run = Run(1008.5, 1120.0)
    astray = [
        replace(
            plane, counted=replace(plane.counted, longest_outside=run, length_m=1120.0, inside_m=1120.0),
            figures=replace(plane.figures, largest_mm=-2043.0, largest_at_m=1119.9),
        )
        for plane in (record.line, record.level)
    ]  # fmt: skip
    far = replace(
        record, metres=_far(record.metres), pipes=_far(record.pipes), line=astray[0], level=astray[1],
        both=astray[0].counted,
    )  # fmt: skip
    with matplotlib.rc_context(SETTINGS):
        for title, landscape, draw in [*cover.pages(far), *listing.pages(far), *surveys.pages(far)]:
            sheet = Sheet(Running("", "", "", paper, 1), 1, title, landscape)
            draw(sheet)
            cut = [line.text for line in sheet.lettering.lines if line.text.endswith("…")]
            assert not cut, (title, cut[:5])


def test_sudden_turns_of_one_place_are_told_together(record: AsBuilt) -> None:
    jumps = (Jump(96.9, 1, 1.5, 0.3), Jump(29.5, 0, -4.6, 0.4), Jump(96.9, 0, 3.4, 0.3))
    told = string_words.joint_lines(replace(record, joints=replace(record.joints, jumps=jumps)))
    assert "29.5 m (4.6 mm/m left), 96.9 m (3.4 mm/m right and 1.5 mm/m up)." in told[-1]


def test_a_sharper_place_that_joints_have_yet_to_pass_is_told_on_page_and_screen(record: AsBuilt) -> None:
    along = record.joints.along
    order = np.argsort(np.nan_to_num(along.angle_mm_per_m))
    duller, sharper = int(order[len(order) // 2]), int(order[-1])
    place = f"{along.angle_mm_per_m[sharper]:.1f} mm/m at {along.chainage_m[sharper]:.1f} m"
    for worst, ahead, told in ((duller, sharper, True), (sharper, duller, False), (sharper, None, False)):
        built = replace(record, joints=replace(record.joints, worst=worst, worst_ahead=ahead))
        passed = f"{along.angle_mm_per_m[worst]:.1f} mm/m at {along.chainage_m[worst]:.1f} m"
        for text in (" ".join(string_words.joint_lines(built)), " ".join(view(built).summary)):
            assert f"Largest joint angle passed so far {passed}" in text
            assert bool(re.search(f"[Ss]till to be passed:? {re.escape(place)}", text)) == told


class _Arrived:
    """The drive of a record with other notices."""

    def __init__(self, drive: object, codes: tuple[str, ...]) -> None:
        self._drive, self._codes = drive, codes

    def __getattr__(self, name: str) -> object:
        return getattr(self._drive, name)

    def advice(self) -> object:
        found = self._drive.advice()  # type: ignore[attr-defined]
        return replace(found, notices=tuple(Notice(code, "text", 1.0) for code in self._codes))


def test_on_arrival_nothing_is_said_of_the_next_setting(curved: object) -> None:
    from steer.drive import Drive

    with Drive.open(curved.folder) as drive:  # type: ignore[attr-defined]
        found = assemble(_Arrived(drive, ("limit_gave_way", "reference_moved")))  # type: ignore[arg-type]
    codes = {notice.code for notice in found.notices}
    assert "reference_moved" in codes and "limit_gave_way" not in codes


def test_the_force_is_drawn_to_where_it_matters(record: AsBuilt) -> None:
    """A straight joint carries far more than is used: the plot must not be pressed to its bottom by that."""
    from steer.asbuilt.report import loads

    force = record.force
    assert force.ring is not None and force.permissible_kn is not None
    assert loads._of_interest(record) < force.ring.straight_kn
    assert loads._of_interest(record) > max(force.used.largest_kn.max(), np.min(force.permissible_kn))


def test_every_tolerance_is_told_and_the_tightest_counts(record: AsBuilt) -> None:
    """Ranges that overlap, by hand: 20 to 30 m at 8 and 6 mm, 25 to 35 m at 15 and 4 mm, elsewhere 20 and 12."""
    from steer.asbuilt.tolerances import tolerance_along, tolerance_mm
    from steer.drivefile.sections import ToleranceRange

    ranges = (
        *record.file.tolerance.ranges,
        ToleranceRange(from_m=25.0, to_m=35.0, line_mm=15.0, level_mm=4.0),
    )
    tolerance = record.file.tolerance.model_copy(update={"ranges": ranges})
    file = replace(record.file, tolerance=tolerance)
    at = np.array([10.0, 22.0, 27.0, 33.0, 40.0])
    assert tolerance_mm(file, at).tolist() == [[20, 12], [8, 6], [8, 4], [15, 4], [20, 12]]
    s, found = tolerance_along(file)
    assert found[np.abs(s - 27.0) < 0.3].tolist() == [[8, 4]] * int((np.abs(s - 27.0) < 0.3).sum())
    assert words.tolerance(replace(record, file=file)) == (
        "line 20 mm, level 12 mm; 20.0 to 30.0 m: line 8 mm, level 6 mm; 25.0 to 35.0 m: line 15 mm, level 4 mm"
    )


def test_a_line_without_any_survey_is_said_to_be_one(record: AsBuilt) -> None:
    told = words.survey_lines(replace(record, surveys=(), string_difference=()))
    assert told == ["NO check survey: the line rests on the reference alone."]


@pytest.mark.parametrize(
    ("rows", "most", "each"), [(60, 59, 30), (59, 59, 59), (111, 64, 60), (3, 64, 5), (0, 9, 5)]
)
def test_rows_stand_evenly_on_the_pages(rows: int, most: int, each: int) -> None:
    assert evenly(rows, most) == each


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_last_page_never_runs_into_its_foot(record: AsBuilt, paper: str) -> None:
    """With more to say than fits, the rest and the signatures go on to a page of their own."""
    import matplotlib

    faults = tuple(f"event {n}: hash does not follow from the one before" * 8 for n in range(6))
    report = record.file.report.model_copy(update={"paper": paper})
    much = replace(
        record,
        file=replace(record.file, report=report),
        seal=replace(record.seal, whole=False, faults=faults),
    )
    for shown in (record, much):
        signed = []
        with matplotlib.rc_context(SETTINGS):
            made = closing.pages(shown)
            for title, landscape, draw in made:
                sheet = Sheet(Running("", "", "", shown.file.report.paper, 9), 1, title, landscape)
                before = len(sheet.lettering.lines)
                draw(sheet)
                mine = sheet.lettering.lines[before:]
                assert max(line.y for line in mine) < sheet.bottom, title
                signed.append("signature" in [line.text for line in mine])
        assert signed == [False] * (len(made) - 1) + [True]
    assert len(made) > 1


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_page_of_the_force_never_runs_into_its_foot(record: AsBuilt, paper: str) -> None:
    """Many stretches of friction: the plot gives way, then the workbook has the rest."""
    import matplotlib

    from steer.asbuilt.report import loads

    for count in (1, 6, 30):
        force = replace(record.force, stretches=record.force.stretches[:1] * count)
        with matplotlib.rc_context(SETTINGS):
            ((title, landscape, draw),) = loads.pages(replace(record, force=force))
            sheet = Sheet(Running("", "", "", paper, 1), 1, title, landscape)
            before = len(sheet.lettering.lines)
            draw(sheet)
        mine = sheet.lettering.lines[before:]
        assert max(line.y + Sheet.line_mm(line.size) for line in mine) < sheet.bottom + 2.0
        assert any("more in the workbook" in line.text for line in mine) == (count == 30)


def test_a_shot_that_waits_leaves_the_verdict_open(record: AsBuilt) -> None:
    """A survey that disagrees and has had no word does not count, but no verdict may look settled beside it."""
    assert "OPEN" not in words.overall(record)
    waits = Doubt(7, 0, 30.0, 10.0, 20.0, True)
    told = words.overall(replace(record, doubts=(waits, replace(waits, plane=1))))
    assert told.endswith("; OPEN: check shot 7 waits for a word")
    assert "7, 8 wait for" in words.overall(replace(record, doubts=(waits, replace(waits, shot=8))))
    assert "OPEN" not in words.overall(replace(record, doubts=(replace(waits, waits=False),)))
    # another shot that agrees settles how large the doubt is, not the word that is missing
    odd = replace(record.surveys[0], number=9, verdict="waiting")
    surveys = (odd, *record.surveys[1:])
    told = words.overall(replace(record, surveys=surveys))
    assert told.endswith("; OPEN: check shot 9 waits for a word")
    ahead = (replace(odd, reached=False), *record.surveys[1:])
    assert "OPEN" not in words.overall(replace(record, surveys=ahead))
