"""Files that commands write are whole or not at all: a disk that fills half way leaves the old one."""

import errno

import pytest

from steer.asbuilt import writing
from steer.cli.main import main
from steer.drivefile import TEMPLATE
from steer.practice import Session


@pytest.fixture(scope="module")
def driven(tmp_path_factory):
    place = tmp_path_factory.mktemp("outputs") / "driven"
    with Session.begin(place, "dense sand", 1) as session:
        for _ in range(4):
            session.drive.accept()
            session.jack()
    return place


@pytest.fixture
def planned(tmp_path):
    (tmp_path / "drive").mkdir()
    (tmp_path / "drive" / "drive.toml").write_text(TEMPLATE, encoding="utf-8")
    return tmp_path / "drive"


def command(name, planned, driven, target):
    return {
        "axis": ["axis", str(planned), "--plot", f"{target}.png"],
        "check": ["check", str(planned), "--plan-plot", f"{target}.svg"],
        "replay": ["replay", str(driven), "--what-if", "--from", "1", "--csv", f"{target}.csv"],
        "asbuilt": ["asbuilt", str(driven), "--csv", f"{target}.csv"],
    }[name]


@pytest.mark.parametrize("name", ["axis", "check", "replay", "asbuilt"])
def test_a_disk_that_fills_half_way(tmp_path, planned, driven, monkeypatch, capsys, name):
    out = tmp_path / "out"
    out.mkdir()
    words = command(name, planned, driven, out / "file")
    target = next(w for w in words if w.startswith(str(out / "file")))
    (out / target).write_text("the old one")

    def full(descriptor):
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as m:
        m.setattr(writing.os, "fsync", full)
        assert main(words) == 3
    assert f"{target}: cannot be written: No space left" in capsys.readouterr().err
    assert [p.read_text() for p in out.iterdir()] == ["the old one"]  # and nothing beside it
    assert main(words) == 0
    assert (out / target).read_bytes() != b"the old one"
    assert len(list(out.iterdir())) == 1


@pytest.mark.parametrize("name", ["axis", "check"])
def test_a_drawing_that_breaks_off(tmp_path, planned, driven, monkeypatch, capsys, name):
    from matplotlib.figure import Figure

    out = tmp_path / "out"
    out.mkdir()
    words = command(name, planned, driven, out / "file")
    (out / words[-1]).write_text("the old one")

    def half(self, path, **kwargs):
        with open(path, "w") as file:
            file.write("half")
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(Figure, "savefig", half)
    assert main(words) == 3
    assert f"{words[-1]}: cannot be written: Input/output error" in capsys.readouterr().err
    assert [p.read_text() for p in out.iterdir()] == ["the old one"]
