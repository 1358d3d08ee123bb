"""Older logs are upgraded after a backup copy; a log of every version is kept in data/ (invented events)."""

import shutil
import sqlite3
from pathlib import Path

import pytest

from steer.errors import FolderUnusable
from steer.log import LOG_NAME, Log, schema
from steer.log.verify import verify

SAMPLES = sorted((Path(__file__).parent / "data").glob("version*.db"))


def test_a_sample_of_every_version_is_kept():
    assert [int(p.stem.removeprefix("version")) for p in SAMPLES] == list(range(1, schema.SCHEMA_VERSION + 1))


@pytest.mark.parametrize("write", [True, False])
@pytest.mark.parametrize("sample", SAMPLES, ids=lambda p: p.stem)
def test_logs_of_all_versions_are_read(tmp_path, sample, write):
    shutil.copy(sample, tmp_path / LOG_NAME)
    with Log.open(tmp_path, write=write) as log:
        events = list(log.events())
        assert verify(log).whole
    assert [e.kind for e in events] == ["file", "reading", "check_shot", "stroke_end"]
    assert events[1].body == {
        "chainage_m": 1.5,
        "cylinder_mm": [36.0, None, 36.5, 37.0],
        "time": "2026-03-01T14:05:00Z",
    }
    assert events[3].arrived == "2026-03-01T14:05:03.000Z"


@pytest.fixture
def next_version(monkeypatch):
    """A program of the next version, whose upgrade adds a table."""
    monkeypatch.setattr(schema, "SCHEMA_VERSION", 2)
    monkeypatch.setitem(schema.UPGRADES, 1, lambda db: db.execute("CREATE TABLE more (x)"))


def version(path):
    db = sqlite3.connect(path)
    found = db.execute("PRAGMA user_version").fetchone()[0]
    tables = {name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    rows = db.execute("SELECT * FROM events").fetchall()
    db.close()
    return found, "more" in tables, rows


def test_a_newer_program_upgrades_after_a_copy_and_an_older_one_then_refuses(
    tmp_path, next_version, monkeypatch
):
    path = tmp_path / LOG_NAME
    shutil.copy(SAMPLES[0], path)
    before = version(path)
    assert before[:2] == (1, False)
    with Log.open(tmp_path, write=True) as log:
        assert log.last_sequence() == 4
        log.append("note", {})
    assert version(path)[:2] == (2, True)
    assert version(path)[2][:4] == before[2]
    assert version(tmp_path / f"{LOG_NAME}.version1.backup") == before
    with Log.open(tmp_path, write=True):  # once only
        pass
    assert len(list(tmp_path.glob("*.backup"))) == 1
    monkeypatch.setattr(schema, "SCHEMA_VERSION", 1)
    content = path.read_bytes()
    for write in (True, False):
        with pytest.raises(FolderUnusable, match="newer program"):
            Log.open(tmp_path, write=write)
    assert path.read_bytes() == content


def test_an_upgrade_that_fails_changes_nothing(tmp_path, next_version, monkeypatch):
    def fails(db):
        db.execute("CREATE TABLE more (x)")
        db.execute("SELECT * FROM no_such_table")

    monkeypatch.setitem(schema.UPGRADES, 1, fails)
    shutil.copy(SAMPLES[0], tmp_path / LOG_NAME)
    before = version(tmp_path / LOG_NAME)
    with pytest.raises(FolderUnusable):
        Log.open(tmp_path, write=True)
    assert version(tmp_path / LOG_NAME) == before


def test_a_backup_is_never_overwritten(tmp_path, next_version):
    (tmp_path / f"{LOG_NAME}.version1.backup").write_text("an earlier one")
    shutil.copy(SAMPLES[0], tmp_path / LOG_NAME)
    Log.open(tmp_path, write=True).close()
    assert (tmp_path / f"{LOG_NAME}.version1.backup").read_text() == "an earlier one"
    assert version(tmp_path / f"{LOG_NAME}.version1-1.backup")[0] == 1
