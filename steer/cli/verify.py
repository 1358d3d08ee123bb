"""`steer verify FOLDER`: is the log whole, who wrote it, and does the same advice come out again."""

from __future__ import annotations

import argparse

EXPLAINED = """\
Every event carries a hash of itself and of the event before it; verify computes them all again. A change,
a gap or an event put in shows. Somebody who wrote the whole log anew would not be found out by that alone:
note the last hash somewhere else, on the shift report for instance, and compare it here.
Then every advice in the log is computed again by this version of the program, from the events before it and with
the drive.toml of that time, which is in the log too, and compared. It also says when drive.toml was changed.
Ends with 0 when the log is whole and 3 when it is not.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = EXPLAINED
    parser.add_argument("folder", metavar="FOLDER", help="the drive's folder")
    parser.add_argument("--chain-only", action="store_true", help="leave out the advices, which take longer")


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
    if verdict.events and not args.chain_only:
        _advices(args.folder)
    return 0


def _advices(folder: str) -> None:
    from steer import __version__
    from steer.recompute import recompute
    from steer.text import printable

    found = recompute(folder)
    for number, (sequence, arrived, sha256, remark) in enumerate(found.files):
        verb = "changed" if number else "as"
        remark = f"; {remark}" if remark else ""
        print(
            f"drive.toml {verb} at event {sequence}, {printable(arrived, 40)}: sha256 {sha256[:16]}…{remark}"
        )
    if not found.today:
        print("drive.toml has changed since the last advice or decision in the log")
    same = found.given - len(found.different)
    print(f"Advices in the log: {found.given}; the same again: {same}.")
    for sequence, program, said in found.different[:20]:
        print(
            f"  event {sequence}, given by version {printable(program, 40)}, differs: {printable(said, 200)}"
        )
    if len(found.different) > 20:
        print(f"  and {len(found.different) - 20} more")
    if found.different:
        because = "the program" if found.files else "drive.toml or the program"
        print(f"computed by version {__version__}: {because} has changed since these were given")
