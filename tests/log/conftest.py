import pytest

from steer.drivefile import TEMPLATE
from steer.log import Log


@pytest.fixture
def folder(tmp_path):
    """A drive (the template's invented values) with twenty readings, a check shot and a note."""
    folder = tmp_path / "drive"
    folder.mkdir()
    (folder / "drive.toml").write_text(TEMPLATE, encoding="utf-8")
    with Log.open(folder, write=True) as log:
        log.append_many(
            [
                ("reading", {"chainage_m": k / 10 + 0.1 / 3, "cylinder_mm": [36.0, None, 36.5, -0.0]})
                for k in range(20)
            ]
        )
        shot = {
            "chainage_m": 1.0,
            "point": "face",
            "line_mm": 5e-324,
            "level_mm": 9999.999999999998,
            "sd_mm": 2.0,
        }
        log.append("check_shot", shot)
        log.append("note", {"text": "añ\u202e \x00", "deep": {"a": [1, 2.0, None, "\ud800"]}})
    return folder
