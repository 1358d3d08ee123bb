"""`steer verify FOLDER`: is the log whole, and which version of the program wrote what."""

from __future__ import annotations

import argparse

EXPLAINED = """\
Every event carries a hash of itself and of the event before it; verify computes them all again. A change,
a gap or an event put in shows. Somebody who wrote the whole log anew would not be found out by that alone:
note the last hash somewhere else, on the shift report for instance, and compare it here.
Ends with 0 when the log is whole and 3 when it is not.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = EXPLAINED
    parser.add_argument("folder", metavar="FOLDER", help="the drive's folder")


def run(args: argparse.Namespace) -> int:
    from steer.errors import FolderUnusable
    from steer.log import Log
    from steer.log.verify import verify
    from steer.text import printable

    with Log.open(args.folder) as log:
        verdict = verify(log)
        path = printable(log.path)
    if verdict.events:
        print(f"{verdict.events} events")
    for program, (first, last, count) in verdict.programs.items():
        print(f"  {count} written by version {printable(program, 40)}, between events {first} and {last}")
    if verdict.head:
        print(f"last hash: {verdict.head}")
    if not verdict.whole:
        faults = "\n".join(f"{path}: {fault}" for fault in verdict.faults)
        raise FolderUnusable(f"{path}: the log is NOT whole\n{faults}")
    print("the log is whole: no event was changed, dropped or put in" if verdict.events else "no events yet")
    return 0
