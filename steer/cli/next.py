"""`steer next FOLDER [--json]`: the estimate and the next correction."""

from __future__ import annotations

import argparse
import json


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", metavar="FOLDER", help="the drive's folder")
    parser.add_argument("--json", action="store_true", help="print the advice object, as the feed gives it")


def run(args: argparse.Namespace) -> int:
    from steer.drive import Drive
    from steer.says import advice_object, page
    from steer.text import printable

    with Drive.open(args.folder) as drive:
        advice = drive.advice()
        if args.json:
            found = {"kind": "advice", **advice_object(advice)} if advice else None
            print(json.dumps(found, allow_nan=False))
        elif advice is None:
            print("No reading yet: add some with `steer read`, or run `steer feed`.")
        else:
            print(page(printable(drive.file.drive.name), advice, drive.file.axis.end_chainage_m))
    return 0
