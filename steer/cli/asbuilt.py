"""`steer asbuilt FOLDER`: as-built deviation against tolerance, on the terminal and in files."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable
from pathlib import Path

_FILES = (
    ("report", "FILE.pdf", "the report, A4 or Letter ([report] paper in drive.toml)"),
    ("csv", "FILE.csv", "per metre and per joint, comma-separated"),
    ("xlsx", "FILE.xlsx", "all tables as a workbook"),
    ("dxf", "FILE.dxf", "plan, long section and deviations as a drawing"),
    ("landxml", "FILE.xml", "design axis and as-built points, LandXML 1.2"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The command line of the contract."""
    parser.add_argument("folder", metavar="FOLDER", help="the drive's folder")
    for name, metavar, text in _FILES:
        parser.add_argument(f"--{name}", metavar=metavar, type=_ending_in(Path(metavar).suffix), help=text)
    parser.add_argument("--json", action="store_true", help="one JSON object instead of the page")


def _ending_in(suffix: str) -> Callable[[str], Path]:
    """A file under another kind's name would be opened as what it is not."""

    def path_of(text: str) -> Path:
        path = Path(text)
        if path.suffix.lower() != suffix:
            raise argparse.ArgumentTypeError(f"{text!r} must end in {suffix}")
        return path

    return path_of


def run(args: argparse.Namespace) -> int:
    """Prints the page or the object, writes the files asked for; exit codes as in the contract."""
    from steer.asbuilt.writing import check_writable
    from steer.errors import InputRefused
    from steer.text import printable

    wanted = [(name, getattr(args, name)) for name, _, _ in _FILES if getattr(args, name) is not None]
    problems = []
    for _, path in wanted:
        try:
            check_writable(path)
        except InputRefused as problem:
            problems += problem.problems
    if problems:
        raise InputRefused(problems)

    from steer.asbuilt.outputs import write
    from steer.asbuilt.record import assemble
    from steer.drive import Drive

    with Drive.open(args.folder) as drive:
        landxml = getattr(drive.file.axis_spec, "landxml", None)
        if landxml is not None:
            for _, path in wanted:
                check_writable(path, Path(args.folder) / landxml)
        record = assemble(drive)
    for name, path in wanted:
        write(record, name, path)
        print(f"steer: written {printable(path)}", file=sys.stderr)
    if args.json:
        from steer.asbuilt.json_out import record_object

        print(json.dumps(record_object(record), allow_nan=False))
    else:
        from steer.asbuilt.page import page

        print(page(record))
    return 0
