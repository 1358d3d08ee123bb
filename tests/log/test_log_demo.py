"""The sample drive is made whole or not at all, and writes over nothing."""

import pytest

from steer.cli import demo
from steer.cli.main import main
from steer.closed_loop import from_files
from steer.errors import FolderUnusable
from steer.log import Log


def test_a_disk_that_fills_up_leaves_nothing_and_the_next_try_goes_well(tmp_path, capsys, monkeypatch):
    """Without a screen the next correction is printed."""
    events_of, told = from_files.events_of, []

    def worked_out_once(*files):
        told[:] = told or events_of(*files)
        return told

    monkeypatch.setattr(from_files, "events_of", worked_out_once)

    def full(self, items):
        raise FolderUnusable(f"{self.path}: the disk is full")

    with monkeypatch.context() as patched:
        patched.setattr(Log, "append_many", full)
        assert main(["demo", str(tmp_path / "drive"), "--no-open"]) == 3
    assert list(tmp_path.iterdir()) == []
    capsys.readouterr()
    assert main(["demo", str(tmp_path / "drive"), "--no-open"]) == 0
    said = capsys.readouterr().out
    assert "invented" in said and "\nSET " in said and "HOLD" not in said
    assert {"drive.toml", "drive.db"} < {file.name for file in (tmp_path / "drive").iterdir()}
    assert main(["demo", str(tmp_path / "drive"), "--no-open"]) == 1
    assert "there is a drive in it already" in capsys.readouterr().err


@pytest.mark.parametrize("name", [*demo.FILES, "drive.db"])
def test_nothing_is_written_over(tmp_path, capsys, name):
    (tmp_path / name).write_text("mine")
    assert main(["demo", str(tmp_path), "--no-open"]) == 1
    assert [(file.name, file.read_text()) for file in tmp_path.iterdir()] == [(name, "mine")]
