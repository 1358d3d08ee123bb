"""`steer demo [FOLDER] [--no-open]`: the sample drive in a folder of its own, and its screen."""

from __future__ import annotations

import argparse
import contextlib
import shutil
import tempfile
from importlib import resources
from pathlib import Path

from steer.cli import open as open_command
from steer.cli.making import folder_made
from steer.text import printable

SAMPLE = "quillbeck_lane"
FILES = ("drive.toml", "readings.csv", "shots.csv", "settings.csv")
LOG_FILES = ("drive.db", "drive.db-wal", "drive.db-shm")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "folder", metavar="FOLDER", nargs="?", help="where to make it (default: a temporary folder)"
    )
    open_command.add_look(parser, "0: never, since the sample's readings are old by nature")
    parser.add_argument(
        "--no-open", action="store_true", help="make it and print the next correction, open no screen"
    )


def make(folder: Path) -> None:
    """The sample drive in `folder`, its log as a feed and a crew would have filled it. Raises InputRefused when
    there is a drive in it already, or a file that would be written over. Whole or not at all."""
    from steer.errors import FolderUnusable, InputRefused

    for name in (*FILES, *LOG_FILES):
        if (folder / name).exists():
            what = "a drive" if name in ("drive.toml", "drive.db") else name
            raise InputRefused(f"{folder}: there is {what} in it already; name a new folder")
    try:
        with folder_made(folder):
            try:
                _fill(folder)
            except BaseException:
                for name in (*FILES, *LOG_FILES):
                    with contextlib.suppress(OSError):
                        (folder / name).unlink()
                raise
    except OSError as error:
        raise FolderUnusable(f"{folder}: cannot be written: {error.strerror}") from None


def _fill(folder: Path) -> None:
    from steer.closed_loop.from_files import events_of
    from steer.drivefile import load_drive
    from steer.ground.sample import read_settings
    from steer.intake import drivetext
    from steer.intake.files import file_event, read_readings, read_shots
    from steer.log import Log

    with resources.as_file(resources.files("sample_surveys") / SAMPLE) as sample:
        for name in FILES:
            shutil.copyfile(sample / name, folder / name)
    file = load_drive(folder)
    readings, shots = read_readings(folder / "readings.csv", file), read_shots(folder / "shots.csv", file)
    events = events_of(file, readings[1], shots[1], read_settings(folder / "settings.csv"))
    head = [
        (drivetext.KIND, drivetext.as_event(folder, file)),
        ("file", file_event(readings[0], "reading", readings[1])),
        ("file", file_event(shots[0], "check_shot", shots[1])),
    ]
    with Log.open(folder, write=True) as log:
        log.append_many([*head, *((event.kind, event.body) for event in events)])


def run(args: argparse.Namespace) -> int:
    if args.folder:
        folder = Path(args.folder)
        make(folder)
    else:
        folder = Path(tempfile.mkdtemp(prefix="steer-demo-")) / SAMPLE
        try:
            make(folder)
        except BaseException:
            with contextlib.suppress(OSError):
                folder.parent.rmdir()
            raise
    if args.no_open:
        from steer.cli import next as next_command

        print(f"Sample drive (invented) in {printable(folder)}\n")
        return next_command.run(argparse.Namespace(folder=str(folder), json=False))
    # The sample's readings are old by nature; they must not hide its proposal.
    args.folder, args.stale_after = folder, 0.0 if args.stale_after is None else args.stale_after
    return open_command.run(args)
