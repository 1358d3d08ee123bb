"""What a correction costs the joints stands beside it, at every size that shows the cylinder table."""

from dataclasses import replace

import pytest


def shown(width: int, height: int, joint: str) -> str:
    import fake_drive

    from tui.draw import spans, stroke_page
    from tui.draw.glyphs import UNICODE
    from tui.draw.scene import Scene

    snapshot = fake_drive.STATES["good"]()
    scene = Scene(replace(snapshot, advice=replace(snapshot.advice, joint=joint)), age_s=5.0, glyphs=UNICODE)
    return spans.join(stroke_page.draw(scene, width, height))


@pytest.mark.parametrize(
    ("angle", "force"), [("3.4", "1900"), ("10.2", "890"), ("0.1", "12000"), ("10.2", "12000")]
)
def test_the_force_that_a_correction_leaves_is_beside_it(angle: str, force: str) -> None:
    said = f"joints ahead turn {angle} mm/m, bear {force} kN"
    for width, height in ((80, 24), (100, 30), (120, 40)):
        text = shown(width, height, said)
        (row,) = [line for line in text.splitlines() if f"{force} kN" in line]
        assert "ahead" in row and f"{angle} mm/m" in row  # a notice may say another figure, of joints behind
        assert "rolled 1.2° clockwise" in text


@pytest.mark.parametrize("force", ["890", "2513", "12000"])
def test_beside_a_narrow_table_what_the_joints_bear_is_whole(force: str) -> None:
    text = shown(70, 30, f"joints ahead turn 10.2 mm/m, bear {force} kN")
    assert f"ahead bear {force} kN" in text


def test_without_packer_figures_there_is_no_share() -> None:
    for width in (70, 80):
        text = shown(width, 24, "joints ahead turn 3.4 mm/m")
        assert "joints ahead" in text and "3.4 mm/m" in text and "force" not in text
