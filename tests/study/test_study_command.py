"""The study command: same results whatever the workers, Ctrl-C keeps what is done, refusals."""

from __future__ import annotations

import copy
import csv
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from steer.cli.main import main
from steer.cli.study import time_left
from steer.drivefile import load_drive
from steer.errors import InputRefused
from steer.ground.folder import write_drive_file
from steer.ground.from_file import drive_dict
from steer.ground.presets import DRIVE
from steer.study import Plan, Ranges, Task, run_task


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A planned drive of 6 m: short, so that a study of it is."""
    drive = copy.deepcopy(DRIVE)
    drive["axis"]["horizontal"][0]["length_m"] = drive["axis"]["vertical"][0]["length_m"] = 6.0
    place = tmp_path_factory.mktemp("study") / "planned"
    write_drive_file(drive, place)
    return place


@pytest.fixture(scope="module")
def plan(folder: Path) -> Plan:
    file = load_drive(folder)
    return Plan(file, drive_dict(file), Ranges(check_every_m=(4.0, 4.0)))


def study(folder: Path, out: Path, *options: str) -> int:
    return main(["study", str(folder), "--out", str(out), *options])


def test_same_results_in_one_process_and_in_two(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pytest.importorskip("distributed")
    assert study(folder, tmp_path / "one", "--drives", "6", "--effects", "1", "--workers", "1") == 0
    one = capsys.readouterr().out
    assert study(folder, tmp_path / "two", "--drives", "6", "--effects", "1", "--workers", "2") == 0
    two = capsys.readouterr().out
    assert (tmp_path / "one/study.csv").read_bytes() == (tmp_path / "two/study.csv").read_bytes()
    assert (tmp_path / "one/answers.txt").read_bytes() == (tmp_path / "two/answers.txt").read_bytes()
    assert "with 1 process:" in one and "with 2 processes:" in two
    assert max(len(line) for line in one.split("\n\n14 drives")[0].splitlines()) <= 80
    rows = list(csv.DictReader((tmp_path / "one/study.csv").open()))
    assert len(rows) == 6 + 8 and not any(row["failed"] for row in rows)
    assert (tmp_path / "one/study.png").read_bytes().startswith(b"\x89PNG")
    assert "gain" in (tmp_path / "one/ranges.toml").read_text()


def test_a_scheduler_that_somebody_runs(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=True, dashboard_address=None
    ) as cluster:
        address = cluster.scheduler_address
        assert study(folder, tmp_path, "--drives", "2", "--effects", "0", "--scheduler", address) == 0
    assert "2 drives in" in capsys.readouterr().out


def test_no_scheduler_there(folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("distributed")
    from steer.study import spread

    spread.REACH_S, before = 1, spread.REACH_S
    try:
        assert study(folder, tmp_path, "--drives", "2", "--scheduler", "tcp://127.0.0.1:1") == 1
    finally:
        spread.REACH_S = before
    assert "cannot be reached" in capsys.readouterr().err


def test_what_is_done_is_kept_when_the_scheduler_goes(
    folder: Path,
    plan: Plan,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    distributed = pytest.importorskip("distributed")
    from steer.study import spread

    with (
        distributed.LocalCluster(n_workers=1, threads_per_worker=1, dashboard_address=None) as cluster,
        spread.Spread(None, cluster.scheduler_address) as spreading,
    ):
        outcomes = spreading.run(plan, [Task(n, n) for n in range(400)])
        assert not next(outcomes).failed
        cluster.close()
        with pytest.raises(InputRefused, match="lost while the drives ran") as lost:
            list(outcomes)

    def lost_after_two(plan: Plan, task: Task) -> spread.Outcome:
        if task.index == 2:
            raise lost.value
        return run_task(plan, task)

    monkeypatch.setattr(spread, "run_task", lost_after_two)
    assert study(folder, tmp_path, "--drives", "4", "--effects", "0", "--workers", "1") == 1
    assert len(list(csv.DictReader((tmp_path / "study.csv").open()))) == 2
    said = capsys.readouterr()
    assert "stopped after 2 of 4 drives; they are kept" in said.err and "lost while" in said.err


def test_each_factor_changes_what_it_says(plan: Plan) -> None:
    as_planned = run_task(plan, Task(0, 3))
    assert not as_planned.failed
    assert run_task(plan, Task(0, 3)).rms_line_mm == as_planned.rms_line_mm
    for factor, level in (("check spacing", 0.5), ("stroke", 2.0), ("reference drift", 2.0)):
        other = run_task(plan, Task(0, 3, factor, level))
        assert not other.failed and other.rms_line_mm != as_planned.rms_line_mm, factor
    narrow = run_task(plan, Task(0, 3, "tolerance", 0.01))
    assert narrow.outside_m > as_planned.outside_m


def test_a_drive_that_fails_is_counted_with_its_reason(plan: Plan) -> None:
    found = run_task(plan, Task(0, 3, "stroke", float("nan")))
    assert "nan" in found.failed.lower() and found.kind == ""


def test_interrupt_keeps_what_is_done(folder: Path, tmp_path: Path) -> None:
    """The process itself and its workers: nothing is lost, nothing is left running, no traceback."""
    pytest.importorskip("distributed")
    out = tmp_path / "cut"
    command = [sys.executable, "-m", "steer.cli.main", "study", str(folder), "--out", str(out)]
    process = subprocess.Popen(
        [*command, "--drives", "100", "--effects", "0", "--workers", "2"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
    )  # fmt: skip
    assert process.stderr is not None
    first = process.stderr.readline()  # "10 of 100 drives": a tenth is done
    os.killpg(process.pid, signal.SIGINT)  # as Ctrl-C on a terminal: the whole group hears it
    text, errors = process.communicate(timeout=60)
    assert process.returncode == 130, errors
    rows = list(csv.DictReader((out / "study.csv").open()))
    assert 10 <= len(rows) < 100 and first.startswith("10 of 100")
    assert f"stopped after {len(rows)} of 100 drives" in errors
    assert "Traceback" not in errors
    assert f"{len(rows)} drives as planned" in text


@pytest.mark.parametrize(
    ("options", "code", "what"),
    [
        (["--drives", "0"], 2, "--drives 0"),
        (["--workers", "0"], 2, "--workers 0"),
        (["--seed", "-3"], 2, "--seed"),
        (["--workers", "2", "--scheduler", "tcp://a:1"], 2, "--scheduler"),
        (["--ranges", "nowhere.toml"], 1, "nowhere.toml"),
    ],
)
def test_wrong_command_lines(
    folder: Path, options: list[str], code: int, what: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["study", str(folder), *options]) == code
    assert what in capsys.readouterr().err


def test_no_folder_and_print_ranges(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["study"]) == 2
    assert main(["study", str(tmp_path / "nowhere"), "--drives", "1"]) == 3
    capsys.readouterr()
    assert main(["study", "--print-ranges"]) == 0
    assert "check_every_m" in capsys.readouterr().out


def test_time_left_in_its_largest_unit() -> None:
    assert [time_left(s) for s in (5.0, 300.0, 7200.0)] == ["5 s left", "5 min left", "2.0 h left"]
