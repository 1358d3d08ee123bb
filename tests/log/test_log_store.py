"""The log: what it keeps, what it refuses, and what it says when the folder cannot be used."""

import hashlib
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from steer.errors import FolderUnusable, InputRefused
from steer.log import LOG_NAME, Log

READING = {"chainage_m": 1.25, "cylinder_mm": [36.0, None, 36.0, 36.0], "note": "añ\u202e"}


@pytest.fixture
def bystander():
    """An ordinary user: root may write anywhere, so tests of permissions step down for a while."""
    folder = Path(tempfile.mkdtemp(prefix="steer-test-"))
    folder.chmod(0o755)
    was_root = os.geteuid() == 0

    class Bystander:
        path = folder

        def __enter__(self):
            if was_root:
                os.seteuid(65534)

        def __exit__(self, *_):
            if was_root:
                os.seteuid(0)
            folder.chmod(0o755)

    yield Bystander()
    for file in folder.iterdir():
        file.unlink()
    folder.rmdir()


def test_events_come_back_in_order_as_they_were_given(tmp_path):
    with Log.open(tmp_path, write=True, clock=lambda: "2026-01-01T00:00:00.000Z") as log:
        first = log.append("reading", READING)
        log.append_many([("note", {"text": "a"}), ("stroke_end", {"chainage_m": 2})])
        assert (first.sequence, first.arrived) == (1, "2026-01-01T00:00:00.000Z")
    with Log.open(tmp_path) as log:
        events = list(log.events())
        assert [(e.sequence, e.kind) for e in events] == [(1, "reading"), (2, "note"), (3, "stroke_end")]
        assert events[0] == first
        assert [e.sequence for e in log.events(after=2)] == [3]
        assert log.last_sequence() == 3


def test_more_events_than_one_page(tmp_path):
    with Log.open(tmp_path, write=True) as log:
        log.append_many([("note", {"n": n}) for n in range(12_001)])
        assert [e.body["n"] for e in log.events()] == list(range(12_001))


def test_order_is_by_sequence_when_the_clock_steps_back(tmp_path):
    times = iter(["2026-03-29T03:00:00.000Z", "1970-01-01T00:00:00.000Z", "2026-03-29T02:00:00.000Z"])
    with Log.open(tmp_path, write=True, clock=lambda: next(times)) as log:
        for n in range(3):
            log.append("note", {"n": n})
        assert [e.body["n"] for e in log.events()] == [0, 1, 2]


def test_append_many_is_all_or_nothing(tmp_path):
    with Log.open(tmp_path, write=True) as log:
        log.append("note", {})
        for bad in ({"x": float("nan")}, {"x": float("inf")}, {"x": object()}):
            with pytest.raises(InputRefused):
                log.append_many([("note", {}), ("note", bad)])
        with pytest.raises(InputRefused, match="kind"):
            log.append_many([("note", {}), ("no\nsuch kind", {})])
        assert log.last_sequence() == 1


def test_a_failure_in_the_middle_of_the_transaction_leaves_nothing(tmp_path):
    times = iter(["2026-01-01T00:00:00.000Z"] * 3)
    with Log.open(tmp_path, write=True, clock=lambda: next(times)) as log:
        log.append("note", {})
        with pytest.raises(StopIteration):
            log.append_many([("note", {})] * 5)
        assert log.last_sequence() == 1


def test_the_database_itself_refuses_to_change_or_drop_an_event(tmp_path):
    with Log.open(tmp_path, write=True) as log:
        log.append_many([("note", {"n": n}) for n in range(3)])
    db = sqlite3.connect(tmp_path / LOG_NAME)
    row = db.execute("SELECT * FROM events WHERE sequence = 2").fetchone()
    for statement in (
        "UPDATE events SET body = '{}' WHERE sequence = 2",
        "DELETE FROM events",
        "UPDATE about SET value = ''",
        "DELETE FROM about",
    ):
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            db.execute(statement)
    for verb in ("INSERT", "INSERT OR REPLACE", "INSERT OR IGNORE"):
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            db.execute(f"{verb} INTO events VALUES (?, ?, ?, 'note', '{{}}', ?)", (*row[:3], row[5]))
    with pytest.raises(sqlite3.IntegrityError, match="append-only"):  # a gap
        db.execute("INSERT INTO events VALUES (9, ?, ?, 'note', '{}', ?)", (*row[1:3], row[5]))


def test_the_chain_of_hashes_by_hand(tmp_path):
    """sha256 as in FIPS 180-4 (hashlib), over the bytes that the room's documentation states."""
    with Log.open(tmp_path, write=True) as log:
        log.append_many([("reading", READING), ("note", {"b": 1, "a": "x\ny"})])
    db = sqlite3.connect(tmp_path / LOG_NAME)
    previous = bytes.fromhex(db.execute("SELECT value FROM about WHERE name = 'origin'").fetchone()[0])
    rows = db.execute("SELECT sequence, arrived, program, kind, body, hash FROM events").fetchall()
    assert len(rows) == 2
    for *texts, digest in rows:
        previous = hashlib.sha256(previous + "\n".join(map(str, texts)).encode()).digest()
        assert previous == digest
    assert rows[1][4] == '{"a":"x\\ny","b":1}'


@pytest.mark.parametrize(("sync", "level"), [("line", 2), ("stroke", 1)])
def test_durability_is_what_we_say(tmp_path, sync, level):
    """2 is FULL, 1 is NORMAL (SQLite documentation, PRAGMA synchronous)."""
    with Log.open(tmp_path, write=True, sync=sync) as log:
        assert log._db.execute("PRAGMA synchronous").fetchone()[0] == level
        assert log._db.execute("PRAGMA journal_mode").fetchone()[0] == "wal"


def test_stroke_commit_brings_the_side_file_to_disk(tmp_path, monkeypatch):
    synced = []
    monkeypatch.setattr(os, "fsync", lambda fd: synced.append(os.fstat(fd).st_ino))
    with Log.open(tmp_path, write=True, sync="stroke") as log:
        log.append("note", {})
        inode = (tmp_path / f"{LOG_NAME}-wal").stat().st_ino
        assert inode not in synced
        log.commit()
        assert synced == [inode]


def test_a_reader_follows_a_writer_from_before_the_log_exists(tmp_path):
    with Log.open(tmp_path) as reader:
        assert (reader.last_sequence(), list(reader.events())) == (0, [])
        assert not (tmp_path / LOG_NAME).exists()
        with Log.open(tmp_path, write=True, sync="stroke") as writer:
            assert reader.last_sequence() == 0
            writer.append("note", {"n": 1})
            assert reader.last_sequence() == 1
        assert [e.body for e in reader.events()] == [{"n": 1}]
        with pytest.raises(FolderUnusable, match="reading only"):
            reader.append("note", {})


def test_a_slow_reader_blocks_no_writer(tmp_path):
    with Log.open(tmp_path, write=True) as writer, Log.open(tmp_path) as reader:
        writer.append_many([("note", {"n": n}) for n in range(6000)])
        slow = reader.events()
        next(slow)
        writer.append("note", {"n": 6000})
        assert sum(1 for _ in slow) == 6000


def test_two_writers_take_turns(tmp_path):
    with Log.open(tmp_path, write=True) as a, Log.open(tmp_path, write=True) as b:
        for n in range(10):
            (a, b)[n % 2].append("note", {"n": n})
        assert [e.body["n"] for e in a.events()] == list(range(10))


def test_many_programs_make_the_log_at_the_same_moment(tmp_path):
    code = (
        "import sys; from steer.log import Log\n"
        "with Log.open(sys.argv[1], write=True) as log:\n"
        "    [log.append('note', {'who': sys.argv[2], 'n': n}) for n in range(20)]"
    )
    running = [subprocess.Popen([sys.executable, "-c", code, str(tmp_path), str(k)]) for k in range(4)]
    assert [p.wait(60) for p in running] == [0] * 4
    with Log.open(tmp_path) as log:
        events = list(log.events())
    assert [e.sequence for e in events] == list(range(1, 81))
    for who in "0123":
        assert [e.body["n"] for e in events if e.body["who"] == who] == list(range(20))


def test_a_second_feed_is_refused_with_who_holds_it(tmp_path):
    first = Log.open(tmp_path, write=True)
    first.claim_feed()
    first.claim_feed()
    second = Log.open(tmp_path, write=True)
    with pytest.raises(FolderUnusable, match=f"process {os.getpid()} on "):
        second.claim_feed()
    second.append("note", {})  # what is no feed may still write
    first.close()
    second.claim_feed()
    second.close()


def test_a_killed_feed_leaves_no_claim_behind(tmp_path):
    code = (
        "import sys; from steer.log import Log\n"
        "log = Log.open(sys.argv[1], write=True); log.claim_feed(); print('held', flush=True)\n"
        "sys.stdin.read()"
    )
    feed = subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path)], stdout=subprocess.PIPE, stdin=subprocess.PIPE
    )
    assert feed.stdout.readline() == b"held\n"
    with Log.open(tmp_path, write=True) as log:
        with pytest.raises(FolderUnusable, match=str(feed.pid)):
            log.claim_feed()
        feed.kill()
        feed.communicate()
        log.claim_feed()


def test_files_are_known_by_their_content(tmp_path):
    with Log.open(tmp_path, write=True) as log:
        assert not log.has_file("ab")
        log.append("file", {"sha256": "ab", "name": "x.csv"})
        assert log.has_file("ab")
        assert not log.has_file("cd")


def _database(path: Path, *statements: str) -> None:
    db = sqlite3.connect(path)
    for statement in statements:
        db.execute(statement)
    db.commit()
    db.close()


def _half_of_a_log(path: Path) -> None:
    with Log.open(path.parent, write=True) as log:
        log.append_many([("note", {"n": n}) for n in range(500)])
    content = path.read_bytes()
    path.write_bytes(content[: len(content) // 2])


UNUSABLE = {
    "text": (lambda p: p.write_text("no database, " * 100), "not an SQLite database"),
    "other database": (lambda p: _database(p, "CREATE TABLE t (x)"), "not a drive log"),
    "other version": (lambda p: _database(p, "PRAGMA user_version = 7"), "not a drive log"),
    "folder": (lambda p: p.mkdir(), "not a file"),
    "newer": (
        lambda p: (
            Log.open(p.parent, write=True).close(),
            _database(p, "PRAGMA user_version = 99"),
        ),
        "newer program",
    ),
}


@pytest.mark.parametrize("write", [True, False])
@pytest.mark.parametrize("case", UNUSABLE)
def test_what_is_no_log_is_refused_and_left_alone(tmp_path, case, write):
    make, expected = UNUSABLE[case]
    path = tmp_path / LOG_NAME
    make(path)
    before = path.read_bytes() if path.is_file() else None
    with pytest.raises(FolderUnusable, match=expected) as caught:
        Log.open(tmp_path, write=write)
    assert str(path) in str(caught.value)
    assert caught.value.exit_code == 3
    assert before is None or path.read_bytes() == before


def test_a_truncated_log_is_called_damaged(tmp_path):
    _half_of_a_log(tmp_path / LOG_NAME)
    with pytest.raises(FolderUnusable, match="damaged"), Log.open(tmp_path) as log:
        list(log.events())


@pytest.mark.parametrize("write", [True, False])
def test_no_folder(tmp_path, write):
    with pytest.raises(FolderUnusable, match="no such folder"):
        Log.open(tmp_path / "none", write=write)
    (tmp_path / "file").write_text("")
    with pytest.raises(FolderUnusable, match="not a folder"):
        Log.open(tmp_path / "file", write=write)


def test_an_empty_file_is_a_log_not_yet_made(tmp_path):
    (tmp_path / LOG_NAME).touch()
    with Log.open(tmp_path) as log:
        assert log.last_sequence() == 0
    with Log.open(tmp_path, write=True) as log:
        log.append("note", {})
        assert log.last_sequence() == 1


def test_a_log_removed_under_a_writer_is_said(tmp_path):
    with Log.open(tmp_path, write=True) as log:
        log.append("note", {})
        (tmp_path / LOG_NAME).rename(tmp_path / "elsewhere")
        with pytest.raises(FolderUnusable, match="removed or replaced"):
            log.append("note", {})


def test_read_only_folder(bystander):
    folder = bystander.path
    with Log.open(folder, write=True) as log:
        log.append("note", {"n": 1})
    folder.chmod(0o555)
    with bystander:
        with pytest.raises(FolderUnusable, match=r"read-only|cannot be opened"):
            Log.open(folder, write=True)
        with Log.open(folder) as log:
            assert [e.body for e in log.events()] == [{"n": 1}]


def test_read_only_folder_in_which_a_writer_was_killed(bystander):
    """The events are still in the side file then, and must be seen."""
    folder = bystander.path
    code = (
        "import os, sys; from steer.log import Log\n"
        "log = Log.open(sys.argv[1], write=True); log.append('note', {'n': 1}); os.kill(os.getpid(), 9)"
    )
    subprocess.run([sys.executable, "-c", code, str(folder)], check=False)
    (folder / f"{LOG_NAME}-shm").unlink()
    for file in folder.iterdir():
        file.chmod(0o644)
    folder.chmod(0o555)
    with bystander, Log.open(folder) as log:
        assert log.last_sequence() == 1
        assert [e.body for e in log.events()] == [{"n": 1}]
        os.seteuid(0) if os.getuid() == 0 else folder.chmod(0o755)
        with Log.open(folder, write=True) as writer:
            writer.append("note", {"n": 2})
        assert log.last_sequence() == 2


def test_full_disk(tmp_path):
    """SQLite's own page limit raises the same error (SQLITE_FULL) as a full disk."""
    with Log.open(tmp_path, write=True) as log:
        log.append("note", {"n": 0})
        pages = log._db.execute("PRAGMA page_count").fetchone()[0]
        log._db.execute(f"PRAGMA max_page_count = {pages + 2}")
        with pytest.raises(FolderUnusable, match="disk is full"):
            log.append_many([("note", {"text": "x" * 4000})] * 50)
        assert log.last_sequence() == 1
        log._db.execute("PRAGMA max_page_count = 1000000")
        log.append_many([("note", {"text": "x" * 4000})] * 50)
        assert log.last_sequence() == 51
        assert json.dumps([e.body for e in log.events(after=50)]) == json.dumps([{"text": "x" * 4000}])


def test_a_log_is_read_on_a_full_disk(tmp_path):
    """Reading needs side files, for which there is no space: a limit on the size of files stands for that."""
    with Log.open(tmp_path, write=True) as log:
        log.append("note", {"n": 1})
    assert [file.name for file in tmp_path.iterdir()] == [LOG_NAME]
    code = (
        "import resource, sys; from steer.log import Log\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (30_000,) * 2)\n"
        "log = Log.open(sys.argv[1]); print([e.body for e in log.events()])"
    )
    done = subprocess.run([sys.executable, "-c", code, str(tmp_path)], capture_output=True, text=True)
    assert (done.stdout, done.stderr) == ("[{'n': 1}]\n", "")


def test_the_version_is_read_at_one_moment(tmp_path):
    """Another program makes the log between two of our looks: what we see is the file before or after it."""
    import sqlite3

    from steer.log import schema

    path = tmp_path / "drive.db"
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("PRAGMA journal_mode = WAL")

    class Interrupted:
        def __init__(self):
            self.db = sqlite3.connect(path, isolation_level=None)
            self.made = False

        @property
        def in_transaction(self):
            return self.db.in_transaction

        def execute(self, statement):
            found = self.db.execute(statement).fetchall()
            if "application_id" in statement and not self.made:
                self.made = True
                schema.prepare(other, path)
            return _Rows(found)

    class _Rows:
        def __init__(self, rows):
            self.rows = rows

        def fetchone(self):
            return self.rows[0]

    ours = Interrupted()
    assert schema.version_of(ours, path) == 0
    assert ours.made
    assert schema.version_of(ours, path) == schema.SCHEMA_VERSION


def _in_the_way(path):
    """Another program that looks into a log that is just being made, and so holds its file."""
    import sqlite3

    other = sqlite3.connect(path, isolation_level=None)
    other.execute("CREATE TABLE about (name TEXT)")
    other.execute("BEGIN")
    other.execute("SELECT count(*) FROM about").fetchone()
    return other


def _ours(path):
    import sqlite3

    return sqlite3.connect(path, isolation_level=None, timeout=0.01)


def test_the_switch_to_the_write_ahead_log_is_tried_again_until_others_are_through(tmp_path, monkeypatch):
    from steer.log import store

    other, waits = _in_the_way(tmp_path / "drive.db"), []

    def wait(seconds):
        waits.append(seconds)
        if len(waits) == 3:
            other.execute("ROLLBACK")

    monkeypatch.setattr(store.time, "sleep", wait)
    assert store._write_ahead(_ours(tmp_path / "drive.db")) == "wal"
    assert len(waits) == 3


def test_who_never_lets_go_of_the_file_is_said(tmp_path, monkeypatch):
    from steer.log import store
    from steer.log.trouble import plain_words

    path, clock = tmp_path / "drive.db", iter(range(0, 1000, 10))
    _in_the_way(path)
    monkeypatch.setattr(store.time, "sleep", lambda seconds: None)
    monkeypatch.setattr(store.time, "monotonic", lambda: next(clock))
    with pytest.raises(FolderUnusable, match="another program has kept it locked"), plain_words(path):
        store._write_ahead(_ours(path))


@pytest.mark.parametrize("write", [True, False])
def test_no_new_log_is_made_beside_what_another_has_written_last(tmp_path, write):
    """drive.db was moved away without its write-ahead file, which a new log would empty."""
    with Log.open(tmp_path, write=True) as log:
        for n in range(3):
            log.append("note", {"text": f"{n}"})
        shutil.move(tmp_path / LOG_NAME, tmp_path / "away")
        beside = tmp_path / f"{LOG_NAME}-wal"
        held = beside.read_bytes()
        assert held
        with pytest.raises(FolderUnusable, match=r"put drive\.db back"):
            Log.open(tmp_path, write=write)
        assert beside.read_bytes() == held and not (tmp_path / LOG_NAME).exists()
        shutil.move(tmp_path / "away", tmp_path / LOG_NAME)
        with Log.open(tmp_path) as again:
            assert [e.body["text"] for e in again.events()] == ["0", "1", "2"]
