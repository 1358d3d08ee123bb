"""`steer new FOLDER`: a commented drive.toml to fill in."""

from __future__ import annotations

import argparse
from pathlib import Path

from steer.cli.making import folder_made
from steer.errors import FolderUnusable, InputRefused
from steer.text import printable


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The folder to write into."""
    parser.add_argument("folder", metavar="FOLDER", help="the drive's folder; made when it is not there")


def run(args: argparse.Namespace) -> int:
    """Writes the file; an existing one is never overwritten (exit 1)."""
    from steer.drivefile.template import FILE_NAME, TEMPLATE

    folder = Path(args.folder)
    path = folder / FILE_NAME
    try:
        with folder_made(folder), path.open("x", encoding="utf-8", newline="\n") as file:
            try:
                file.write(TEMPLATE)
                file.flush()
            except OSError:
                path.unlink(missing_ok=True)  # half a file would stop the next try
                raise
    except FileExistsError:
        if folder.is_dir():
            raise InputRefused(f"{path}: is there already and is left as it is") from None
        raise FolderUnusable(f"{folder}: not a folder") from None
    except (OSError, ValueError) as error:
        raise FolderUnusable(
            f"{folder}: cannot be written: {getattr(error, 'strerror', None) or error}"
        ) from None
    print(f"{printable(path)}: written, with example values")
    print(f"Put your own in their place, then: steer check {printable(args.folder)}")
    return 0
