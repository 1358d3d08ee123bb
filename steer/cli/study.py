"""`steer study FOLDER --drives N`: drive a planned axis many times over drawn grounds, and count."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING

from steer.cli.making import named_folder
from steer.errors import CommandLineWrong, FolderUnusable, SteerError

if TYPE_CHECKING:
    from steer.study import Outcome, Plan

FACTORS = ("check spacing", "stroke", "tolerance", "reference drift")
KEEP_EVERY_S = 20.0
ABOUT = """\
Every drive gets its own ground and guidance, drawn from stated ranges by its seed, and every proposal is
set as proposed. The folder's drive.toml is read, its log is not touched. Written to --out: study.csv (a
row a drive), study.png, answers.txt and ranges.toml. Ctrl-C keeps what is done. The same seeds give the
same results, whatever the number of workers.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = ABOUT
    parser.add_argument("folder", type=named_folder, metavar="FOLDER", nargs="?", help="the drive's folder")
    parser.add_argument(
        "--drives", type=int, default=100, metavar="N", help="drives as planned (default 100)"
    )
    parser.add_argument("--seed", type=int, default=1, help="seed of the first drive (default 1)")
    parser.add_argument("--ranges", type=Path, metavar="FILE", help="TOML file of ranges to draw from")
    parser.add_argument("--print-ranges", action="store_true", help="print the ranges, to fill in your own")
    parser.add_argument(
        "--effects",
        type=int,
        metavar="N",
        help="drives for each level of check spacing, stroke, tolerance and drift (default: a tenth of "
        "--drives; 0: none)",
    )
    parser.add_argument("--workers", type=int, metavar="K", help="processes (default: one a core)")
    parser.add_argument("--scheduler", metavar="ADDRESS", help="a dask scheduler, e.g. tcp://host:8786")
    parser.add_argument("--out", type=Path, metavar="DIR", help="where to write (default: FOLDER/study)")


def run(args: argparse.Namespace) -> int:
    from steer.study import Ranges, load_ranges, ranges_text

    ranges = Ranges() if args.ranges is None else load_ranges(args.ranges)
    if args.print_ranges:
        print(ranges_text(ranges), end="")
        return 0
    if args.folder is None:
        raise CommandLineWrong("a drive's FOLDER is wanted")
    for name, value, low, high in (
        ("--drives", args.drives, 1, 1_000_000),
        ("--seed", args.seed, 0, 2**31 - 1),
        ("--effects", args.effects, 0, 1_000_000),
        ("--workers", args.workers, 1, 4096),
    ):
        if value is not None and not low <= value <= high:
            raise CommandLineWrong(f"{name} {value}: allowed are {low} to {high}")
    if args.scheduler and args.workers:
        raise CommandLineWrong("--workers counts local processes; a --scheduler has its own")

    from steer.drivefile import load_drive
    from steer.ground.from_file import drive_dict
    from steer.study import Plan

    file = load_drive(args.folder)
    out = args.out or args.folder / "study"
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FolderUnusable(f"{out}: cannot be made: {error.strerror}") from None
    return _study(args, Plan(file, drive_dict(file), ranges), out)


def _study(args: argparse.Namespace, plan: Plan, out: Path) -> int:
    from steer.study import Spread, ranges_text, tasks_of
    from steer.study.outputs import csv_text, write_whole

    effects = args.effects if args.effects is not None else args.drives // 10
    tasks = tasks_of(args.seed, args.drives, FACTORS if effects else (), effects)
    write_whole(out / "ranges.toml", ranges_text(plan.ranges).encode())
    outcomes: list[Outcome] = []
    stopped, lost = False, None
    begun = kept = time.monotonic()
    workers = 1
    try:
        with Spread(args.workers, args.scheduler) as spread:
            workers = spread.workers
            progress = Progress(len(tasks))
            for outcome in spread.run(plan, tasks):
                outcomes.append(outcome)
                progress.tell(len(outcomes))
                if time.monotonic() - kept > KEEP_EVERY_S:
                    write_whole(out / "study.csv", csv_text(outcomes).encode())
                    kept = time.monotonic()
    except KeyboardInterrupt:
        stopped = True
    except SteerError as error:
        if not outcomes:
            raise
        stopped, lost = True, error
    took = time.monotonic() - begun
    if sys.stderr.isatty():
        print(file=sys.stderr)
    if stopped:
        kept_words = "they are kept" if outcomes else "no drive was done, so nothing is kept"
        print(f"steer: stopped after {len(outcomes)} of {len(tasks)} drives; {kept_words}", file=sys.stderr)
    if outcomes and all(outcome.failed for outcome in outcomes):
        raise SteerError(f"every drive failed; the first one: {outcomes[0].failed}")
    if outcomes:
        _write_out(plan, outcomes, out)
        print(
            f"\n{len(outcomes)} {'drive' if len(outcomes) == 1 else 'drives'} in {took:.0f} s with {workers} "
            f"{'process' if workers == 1 else 'processes'}: {len(outcomes) / took:.2f} a second, "
            f"{took * workers / len(outcomes):.2f} s a drive. In {out}"
        )
    if lost is not None:
        raise lost
    return 130 if stopped else 0


def _write_out(plan: Plan, outcomes: list[Outcome], out: Path) -> None:
    import io

    from steer.study import answer
    from steer.study.answers import report
    from steer.study.outputs import csv_text, draw_plot, write_whole

    answers = answer(plan.file, outcomes)
    text = "\n".join(report(answers, plan.ranges))
    write_whole(out / "study.csv", csv_text(outcomes).encode())
    write_whole(out / "answers.txt", f"{text}\n".encode())
    picture = io.BytesIO()
    draw_plot(plan.file, outcomes, answers).savefig(picture, format="png", dpi=110)
    write_whole(out / "study.png", picture.getvalue())
    print(text)


class Progress:
    """A bar with the time left on a terminal; a line every tenth elsewhere."""

    def __init__(self, total: int) -> None:
        self.total, self.begun, self.tenth = total, time.monotonic(), 0
        self.terminal = sys.stderr.isatty()

    def tell(self, done: int) -> None:
        """So many are done."""
        tenth = 10 * done // self.total
        if not self.terminal and tenth == self.tenth:
            return
        self.tenth = tenth
        left = (time.monotonic() - self.begun) / done * (self.total - done)
        line = f"{done} of {self.total} drives, {time_left(left)}"
        if self.terminal:
            bar = "#" * (20 * done // self.total)
            print(f"\r[{bar:<20}] {line:<50}", end="", file=sys.stderr, flush=True)
        else:
            print(line, file=sys.stderr, flush=True)


def time_left(seconds: float) -> str:
    """Time left in its largest unit: "3 min left"."""
    if seconds < 90:
        return f"{seconds:.0f} s left"
    return f"{seconds / 60:.0f} min left" if seconds < 5400 else f"{seconds / 3600:.1f} h left"
