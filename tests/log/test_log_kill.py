"""A writer killed at a random moment: what it had acknowledged is there, once and in order, and no more."""

import random
import sqlite3
import subprocess
import sys
import time

import pytest

from steer.log import LOG_NAME, Log

WRITER = """
import sys
from steer.log import Log
folder, start, sync = sys.argv[1], int(sys.argv[2]), sys.argv[3]
log = Log.open(folder, write=True, sync=sync)
n = start
while True:
    log.append_many([("note", {"n": n}), ("note", {"n": n + 1})])
    n += 2
    print(n, flush=True)
"""


@pytest.mark.parametrize("sync", ["line", "stroke"])
def test_nothing_acknowledged_is_lost(tmp_path, sync):
    moments = random.Random(3)
    start = 0
    for _ in range(6):
        writer = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(tmp_path), str(start), sync], stdout=subprocess.PIPE, text=True
        )
        acknowledged = int(writer.stdout.readline())
        time.sleep(moments.uniform(0.0, 0.05))
        writer.kill()
        rest = writer.communicate()[0].split("\n")
        whole = [int(line) for line in rest[:-1] if line]  # the last piece may be cut off
        acknowledged = max([acknowledged, *whole])
        with Log.open(tmp_path, write=True) as log:
            numbers = [e.body["n"] for e in log.events()]
            assert numbers == list(range(len(numbers)))
            assert len(numbers) >= acknowledged
            assert len(numbers) % 2 == 0  # a transaction of two is never half there
        db = sqlite3.connect(tmp_path / LOG_NAME)
        assert db.execute("PRAGMA integrity_check").fetchone()[0] == "ok"
        db.close()
        start = len(numbers)
    assert start > 12
