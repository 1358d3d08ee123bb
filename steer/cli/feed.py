"""`steer feed FOLDER`: JSON Lines in on stdin, JSON Lines out on stdout."""

from __future__ import annotations

import argparse
import json
import sys

ABOUT = """\
One JSON object a line on stdin: {"kind": "reading", …}, {"kind": "check_shot", …}, {"kind": "reference_set", …} are
stored and not answered; {"kind": "stroke_end", "chainage_m": 12.0} is answered by one line {"kind": "advice", …}.
A line that is not valid is answered by {"kind": "refused", "line": N, "why": "…"} and the feed goes on.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = ABOUT
    parser.add_argument("folder", metavar="FOLDER", help="the drive's folder")
    parser.add_argument(
        "--sync",
        choices=("line", "stroke"),
        default="line",
        help="a line is on disk before the next one is read (line, the default) or at each stroke's end (stroke)",
    )


def run(args: argparse.Namespace) -> int:
    from steer.asbuilt.force_now import AtStrokeEnds
    from steer.drive import Drive
    from steer.feed import serve
    from steer.log import Log

    claim = Log.open(args.folder, write=True)
    try:
        claim.claim_feed()
        with Drive.open(args.folder, write=True, sync=args.sync) as drive:
            drive.more = AtStrokeEnds(drive.file).tell
            for answer in serve(drive, sys.stdin.buffer):
                sys.stdout.write(json.dumps(answer, allow_nan=False) + "\n")
                sys.stdout.flush()
    finally:
        claim.close()
    return 0
