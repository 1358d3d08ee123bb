"""`steer demo [FOLDER] [--no-open]`: the sample drive in a folder of its own, and its screen."""

from __future__ import annotations

import argparse
import shutil
import tempfile
from importlib import resources
from pathlib import Path

from steer.cli import open as open_command

SAMPLE = "quillbeck_lane"
FILES = ("drive.toml", "readings.csv", "shots.csv")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "folder", metavar="FOLDER", nargs="?", help="where to make it (default: a temporary folder)"
    )
    open_command.add_look(parser)
    parser.add_argument(
        "--no-open", action="store_true", help="make it and print the next correction, open no screen"
    )


def make(folder: Path) -> None:
    """The sample drive in `folder`. Raises InputRefused when there is a drive in it already."""
    from steer.errors import FolderUnusable, InputRefused
    from steer.intake import store_readings, store_shots

    if (folder / "drive.toml").exists():
        raise InputRefused(f"{folder}: there is a drive in it already; name a new folder")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with resources.as_file(resources.files("sample_surveys") / SAMPLE) as sample:
            for name in FILES:
                shutil.copyfile(sample / name, folder / name)
    except OSError as error:
        raise FolderUnusable(f"{folder}: cannot be written: {error.strerror}") from None
    store_readings(folder, [folder / "readings.csv"])
    store_shots(folder, [folder / "shots.csv"])


def run(args: argparse.Namespace) -> int:
    folder = Path(args.folder) if args.folder else Path(tempfile.mkdtemp(prefix="steer-demo-")) / SAMPLE
    make(folder)
    if args.no_open:
        from steer.cli import next as next_command

        print(f"Sample drive (invented) in {folder}\n")
        return next_command.run(argparse.Namespace(folder=str(folder), json=False))
    # The sample's readings are old by nature; they must not hide its proposal.
    args.folder, args.stale_after = folder, 0.0 if args.stale_after is None else args.stale_after
    return open_command.run(args)
