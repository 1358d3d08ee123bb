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


@pytest.mark.parametrize(("angle", "force"), [("3.4", "1900"), ("10.2", "890"), ("0.1", "12000")])
def test_the_force_that_a_correction_leaves_is_beside_it(angle: str, force: str) -> None:
    said = f"joints turn {angle} mm/m, bear {force} kN"
    for width, height in ((80, 24), (100, 30)):
        text = shown(width, height, said)
        assert f"{angle} mm/m, bear {force} kN" in text
        assert "rolled 1.2° clockwise" in text
    assert f"{angle} mm/m, bear {force} kN" in shown(120, 40, said)


def test_without_packer_figures_there_is_no_share() -> None:
    text = shown(80, 24, "joints turn 3.4 mm/m")
    assert "joints turn 3.4 mm/m" in text and "force" not in text
