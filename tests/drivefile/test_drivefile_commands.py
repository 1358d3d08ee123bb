"""`steer new` and `steer check` as a person calls them."""

from pathlib import Path

import pytest

from steer.cli.main import main
from steer.drivefile import TEMPLATE

DATA = Path(__file__).parent / "data"


def test_new_makes_a_folder_that_check_accepts(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "a" / "b"
    assert main(["new", str(folder)]) == 0
    assert (folder / "drive.toml").read_text(encoding="utf-8") == TEMPLATE
    assert main(["check", str(folder)]) == 0
    out, err = capsys.readouterr()
    assert "100.000 m in plan" in out
    assert "rising 4.00 mm/m" in out
    assert "0 mm right and 350 mm above the machine axis" in out
    assert err == ""


def test_new_overwrites_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "drive.toml").write_text("mine")
    assert main(["new", str(tmp_path)]) == 1
    assert (tmp_path / "drive.toml").read_text() == "mine"
    assert "is there already" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [
        ["new", ""],
        ["demo", "", "--no-open"],
        ["check", ""],
        ["read", "", "a.csv"],
        ["open", ""],
        ["study", ""],
        ["practice", "--folder", ""],
    ],
)
def test_a_folder_without_a_name_is_not_the_one_we_are_in(
    words: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    try:
        code = main(words)
    except SystemExit as stop:
        code = stop.code
    assert code == 2
    assert 'FOLDER is ""' in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("name", ["file", "file/below"])
def test_new_where_no_folder_can_be(tmp_path: Path, name: str) -> None:
    (tmp_path / "file").write_text("")
    assert main(["new", str(tmp_path / name)]) == 3


def test_new_on_a_full_disk_leaves_no_half_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Full:
        def __init__(self, path: Path) -> None:
            self.file = path.open("x")

        def __enter__(self) -> "Full":
            return self

        def __exit__(self, *_: object) -> None:
            self.file.close()

        def write(self, text: str) -> None:
            self.file.write(text[:100])
            raise OSError(28, "No space left on device")

    real_open = Path.open
    monkeypatch.setattr(
        Path,
        "open",
        lambda self, mode="r", **more: Full(self) if mode == "x" and more else real_open(self, mode),
    )
    assert main(["new", str(tmp_path)]) == 3
    assert list(tmp_path.iterdir()) == []


def test_check_reads_on_a_small_terminal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """80 columns, so that no terminal breaks a line inside a word."""
    assert main(["new", str(tmp_path / "drive")]) == 0
    capsys.readouterr()
    assert main(["check", str(tmp_path / "drive")]) == 0
    page = capsys.readouterr().out
    assert max(map(len, page.splitlines())) <= 80
    assert "straight at 36 mm, set in steps of 1 mm" in " ".join(page.split())


def test_check_lists_every_problem_on_stderr(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = DATA / "bad" / "several_at_once.toml"
    (tmp_path / "drive.toml").write_bytes(bad.read_bytes())
    assert main(["check", str(tmp_path)]) == 3
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("drive.toml: ") == 6


def test_check_says_what_is_doubtful_and_where_the_curves_are(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (
        (DATA / "good.toml").read_text(encoding="utf-8").replace("behind_face_m = 1.8", "behind_face_m = 5.0")
    )
    (tmp_path / "drive.toml").write_text(text, encoding="utf-8")
    assert main(["check", str(tmp_path)]) == 0
    out = capsys.readouterr().out
    assert "In plan: tightest curve R = 600 m, turning right" in out
    assert "In level: tightest curve R = 20000 m, turning upward" in out  # 60 m over 3 mm/m of grade
    assert "Doubtful: target.behind_face_m" in out


def test_check_of_a_log_that_is_no_database(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "drive.toml").write_text(TEMPLATE, encoding="utf-8")
    (tmp_path / "drive.db").write_bytes(b"no database at all" * 100)
    assert main(["check", str(tmp_path)]) == 3
    assert "drive.db" in capsys.readouterr().err
