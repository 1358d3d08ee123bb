"""`steer COMMAND …`: finds the command, runs it, and turns every refusal into a message and exit code.

A command is a module of this folder with `add_arguments(parser)` and `run(args) -> int`. Only the
module that is asked for is imported, so that no command pays for another's libraries.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys

from steer import __version__
from steer.errors import SteerError
from steer.text import printable

# name -> (module, one line for `steer --help`)
COMMANDS: dict[str, tuple[str, str]] = {
    "demo": ("steer.cli.demo", "make a complete sample drive and open its screen"),
    "new": ("steer.cli.new", "write a commented drive.toml to fill in"),
    "check": ("steer.cli.check", "validate a drive folder and whether it can be driven"),
    "read": ("steer.cli.read", "add readings from files"),
    "shots": ("steer.cli.shots", "add check shots from files"),
    "counter": ("steer.cli.counter", "correct the chainage counter"),
    "next": ("steer.cli.next", "print the estimate and the next correction"),
    "open": ("steer.cli.open", "open the terminal screens"),
    "feed": ("steer.cli.feed", "JSON Lines in, JSON Lines out, for loggers and simulators"),
    "axis": ("steer.cli.axis", "setting-out values, and where a surveyed point lies"),
    "reduce": ("steer.cli.reduce", "adjust total-station observations by least squares"),
    "asbuilt": ("steer.cli.asbuilt", "as-built deviation against tolerance"),
    "practice": ("steer.cli.practice", "steer a simulated drive yourself, on invented ground"),
    "replay": ("steer.cli.replay", "see a drive again stroke by stroke, as it was known then and now"),
    "study": ("steer.cli.study", "drive a planned axis many times over drawn grounds, and count"),
    "verify": ("steer.cli.verify", "say whether a drive's log is whole, and which program wrote it"),
    "export": ("steer.cli.export", "write a whole drive to one file"),
    "import": ("steer.cli.importing", "make a drive folder from such a file"),
}


def _parser(chosen: str | None) -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="steer",
        description="Line-and-level steering assistant for pipe jacking. It advises; it moves nothing.",
    )
    parser.add_argument("--version", action="version", version=f"steer {__version__}")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, (module, summary) in COMMANDS.items():
        sub = commands.add_parser(name, help=summary, description=summary[0].upper() + summary[1:] + ".")
        if name == chosen:
            importlib.import_module(module).add_arguments(sub)
    return parser


def main(argv: list[str] | None = None) -> int:
    """Run one command; returns the exit code of the contract (0 done, 1 refused, 2 usage, 3 folder)."""
    arguments = sys.argv[1:] if argv is None else argv
    chosen = next((a for a in arguments if not a.startswith("-")), None)
    try:
        args = _parser(chosen).parse_args(arguments)
        code = int(importlib.import_module(COMMANDS[args.command][0]).run(args))
        if sys.stdout is not None:  # None: closed by the caller
            sys.stdout.flush()  # here, where a full disk can still be answered
        return code
    except SteerError as error:
        message = "\n".join(printable(line) for line in str(error).split("\n"))
        print(f"steer: {message}", file=sys.stderr)
        return error.exit_code
    except KeyboardInterrupt:
        print("steer: stopped", file=sys.stderr)
        return 130
    except BrokenPipeError:
        # The reader of our output went away; leave nothing for the interpreter to flush into it.
        _drop_output()
        return 0
    except OSError as error:
        # Commands answer for the files they open; what is left is the output, on a full disk for instance.
        # Not 1: something may have been stored.
        _drop_output()
        where = printable(error.filename) if error.filename else "the output"
        print(f"steer: {where}: cannot be written: {error.strerror or error}", file=sys.stderr)
        return 3


def _drop_output() -> None:
    if sys.stdout is not None:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def console() -> None:
    """Entry point of the `steer` console command."""
    sys.exit(main())


if __name__ == "__main__":
    console()
