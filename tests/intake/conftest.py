import pytest

from steer.drivefile import TEMPLATE, load_drive


@pytest.fixture
def folder(tmp_path):
    """A drive of 0 to 100 m whose machine has four cylinders (the template's invented values)."""
    folder = tmp_path / "drive"
    folder.mkdir()
    (folder / "drive.toml").write_text(TEMPLATE, encoding="utf-8")
    return folder


@pytest.fixture
def drive(folder):
    return load_drive(folder)
