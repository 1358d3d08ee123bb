"""`steer verify`: whoever meddles with the log is found out."""

import hashlib
import sqlite3

import pytest

from steer.cli.main import main
from steer.errors import FolderUnusable
from steer.log import LOG_NAME, Log
from steer.log.verify import verify

NO_GUARDS = [
    f"DROP TRIGGER {name}"
    for name in (
        "events_in_order",
        "events_no_update",
        "events_no_delete",
        "about_no_update",
        "about_no_delete",
    )
]


def meddle(folder, *statements, guards=True):
    """Change the log past its guards, and put these back unless told otherwise."""
    db = sqlite3.connect(folder / LOG_NAME)
    made = [sql for (sql,) in db.execute("SELECT sql FROM sqlite_master WHERE type = 'trigger'")]
    for statement in NO_GUARDS + list(statements) + (made if guards else []):
        db.execute(statement)
    db.commit()
    db.close()


def test_a_whole_log(folder, capsys):
    assert main(["verify", str(folder)]) == 0
    out = capsys.readouterr().out
    assert "22 events" in out
    assert "the log is whole" in out
    with Log.open(folder) as log:
        verdict = verify(log)
    assert verdict.whole
    db = sqlite3.connect(folder / LOG_NAME)
    head = db.execute("SELECT hash FROM events WHERE sequence = 22").fetchone()[0]
    assert verdict.head == head.hex()
    assert verdict.head in out


def test_no_events_yet(tmp_path, capsys):
    assert main(["verify", str(tmp_path)]) == 0
    assert capsys.readouterr().out == "no events yet\n"


@pytest.mark.parametrize(
    ("statement", "part"),
    [
        ("UPDATE events SET body = replace(body, '36.5', '36.6') WHERE sequence = 7", "event 7 "),
        ("UPDATE events SET arrived = '2020-01-01T00:00:00.000Z' WHERE sequence = 1", "event 1 "),
        ("UPDATE events SET kind = 'note' WHERE sequence = 22 OR sequence = 21", "event 21 "),
        ("UPDATE events SET program = '9.9' WHERE sequence = 22", "event 22 "),
        ("UPDATE events SET hash = zeroblob(32) WHERE sequence = 5", "event 5 "),
        ("UPDATE events SET body = x'00ff' WHERE sequence = 5", "event 5 "),
        ("DELETE FROM events WHERE sequence = 9", "event 9 is missing"),
        ("DELETE FROM events WHERE sequence = 1", "event 1 is missing"),
        ("INSERT INTO events SELECT 23, arrived, program, kind, body, hash FROM events LIMIT 1", "event 23 "),
        (
            "UPDATE about SET value = replace(value, substr(value, 1, 1), iif(value LIKE 'b%', 'c', 'b')) "
            "WHERE name = 'origin'",
            "event 1 ",
        ),
    ],
)
def test_what_was_meddled_with_is_named(folder, capsys, statement, part):
    meddle(folder, statement)
    assert main(["verify", str(folder)]) == 3
    message = capsys.readouterr().err
    assert "NOT whole" in message
    assert part in message
    assert "guards" not in message


def test_two_events_that_changed_places(folder, capsys):
    meddle(
        folder,
        "UPDATE events SET sequence = 100 WHERE sequence = 3",
        "UPDATE events SET sequence = 3 WHERE sequence = 4",
        "UPDATE events SET sequence = 4 WHERE sequence = 100",
    )
    assert main(["verify", str(folder)]) == 3
    assert "event 3 " in capsys.readouterr().err


def test_guards_that_were_taken_away(folder, capsys):
    meddle(folder, guards=False)
    assert main(["verify", str(folder)]) == 3
    assert "guards" in capsys.readouterr().err


def test_a_chain_written_anew_shows_only_in_its_last_hash(folder):
    """The limit of the method, which the command says: compare the last hash with one noted elsewhere."""
    with Log.open(folder) as log:
        before = verify(log).head
    db = sqlite3.connect(folder / LOG_NAME)
    rows = db.execute("SELECT sequence, arrived, program, kind, body FROM events").fetchall()
    origin = db.execute("SELECT value FROM about WHERE name = 'origin'").fetchone()[0]
    db.close()
    rows[2] = (*rows[2][:4], '{"chainage_m":99.0}')
    digest, changes = bytes.fromhex(origin), []
    for row in rows:
        digest = hashlib.sha256(digest + "\n".join(map(str, row)).encode()).digest()
        changes.append(
            f"UPDATE events SET body = '{row[4]}', hash = x'{digest.hex()}' WHERE sequence = {row[0]}"
        )
    meddle(folder, *changes)
    with Log.open(folder) as log:
        verdict = verify(log)
    assert verdict.whole
    assert verdict.head != before


def test_programs_are_counted(folder, monkeypatch):
    monkeypatch.setattr("steer.log.store.__version__", "9.9.9")
    with Log.open(folder, write=True) as log:
        log.append("note", {})
        programs = verify(log).programs
    assert programs["9.9.9"] == (23, 23, 1)
    assert sum(count for _, _, count in programs.values()) == 23


def test_a_bit_turned_anywhere_in_the_file_is_said_or_changes_no_event(folder):
    with Log.open(folder) as log:
        events = list(log.events())
    for side in folder.glob(f"{LOG_NAME}-*"):
        side.unlink()
    content, found = (folder / LOG_NAME).read_bytes(), []
    for at in range(0, len(content), 19):
        turned = bytearray(content)
        turned[at] ^= 0x80
        (folder / LOG_NAME).write_bytes(turned)
        try:
            with Log.open(folder) as log:
                verdict = verify(log)
                assert not verdict.whole or list(log.events()) == events
                found.append(verdict.whole)
        except FolderUnusable:
            found.append(False)
        for side in folder.glob(f"{LOG_NAME}-*"):
            side.unlink()
    assert set(found) == {True, False}
