"""`steer next FOLDER [--json]`: the estimate and the next correction."""

from __future__ import annotations

import argparse
import json


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", metavar="FOLDER", help="the drive's folder")
    parser.add_argument("--json", action="store_true", help="print the advice object, as the feed gives it")


def run(args: argparse.Namespace) -> int:
    from steer.drive import Drive
    from steer.errors import InputRefused
    from steer.says import advice_object, page
    from steer.text import printable

    with Drive.open(args.folder) as drive:
        advice = drive.advice()
        if args.json:
            if advice is None:
                raise InputRefused(
                    f"{args.folder}: no reading yet, so there is no advice: add some with `steer read`"
                )
            print(json.dumps({"kind": "advice", **advice_object(advice)}, allow_nan=False))
        elif advice is None:
            print("No reading yet: add some with `steer read`, or run `steer feed`.")
        else:
            print(page(printable(drive.file.drive.name), advice, drive.file.axis.end_chainage_m))
    return 0
