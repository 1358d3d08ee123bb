"""`steer COMMAND …`: finds the command, runs it, and turns every refusal into a message and exit code.

A command is a module of this folder with `add_arguments(parser)` and `run(args) -> int`. Only the
module that is asked for is imported, so that no command pays for another's libraries.
"""

from __future__ import annotations

import sys
from contextlib import suppress

# What else is needed is imported by those who need it, inside `main`'s answer to Ctrl-C: a moment after the
# start people press it too.
TYPE_CHECKING = False
if TYPE_CHECKING:
    import argparse

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
    import argparse
    import importlib

    from steer import __version__

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


def _parse(parser: argparse.ArgumentParser, arguments: list[str]) -> argparse.Namespace:
    """Like `parse_args`, but files may also stand behind the options, where argparse takes no more of them."""
    args, left = parser.parse_known_args(arguments)
    if left and hasattr(args, "files") and not any(a.startswith("-") for a in left):
        args.files = [*args.files, *left]
    elif left:
        from steer.text import printable

        parser.error(f"unrecognized arguments: {printable(' '.join(left))}")
    return args


def main(argv: list[str] | None = None) -> int:
    """Run one command; returns the exit code of the contract (0 done, 1 refused, 2 usage, 3 folder)."""
    try:
        return _run(sys.argv[1:] if argv is None else argv)
    except KeyboardInterrupt:
        return _stopped()
    except Exception:
        if _interrupted:  # while a library was loading, which made another error of it
            return _stopped()
        raise


def _run(arguments: list[str]) -> int:
    import importlib

    from steer.errors import CommandLineWrong, SteerError
    from steer.text import printable

    chosen = next((a for a in arguments if not a.startswith("-")), None)
    try:
        args = _parse(_parser(chosen), arguments)
        if getattr(args, "folder", None) == "":  # which would be the folder one stands in
            raise CommandLineWrong('FOLDER is "": name a folder, or . for the one you are in')
        code = int(importlib.import_module(COMMANDS[args.command][0]).run(args))
        if sys.stdout is not None:  # None: closed by the caller
            sys.stdout.flush()  # here, where a full disk can still be answered
        return code
    except SteerError as error:
        message = "\n".join(printable(line) for line in str(error).split("\n"))
        _complain(message)
        return error.exit_code
    except BrokenPipeError:
        # The reader of our output went away; leave nothing for the interpreter to flush into it.
        _drop_output()
        return 0
    except OSError as error:
        if _interrupted:
            raise
        # Commands answer for the files they open; what is left is the output, on a full disk for instance.
        # Not 1: something may have been stored.
        _drop_output()
        where = printable(error.filename) if error.filename else "the output"
        _complain(f"{where}: cannot be written: {error.strerror or error}")
        return 3


def _complain(message: str) -> None:
    """Where it cannot be written, on a full disk for instance, the exit code says all the same what came of it."""
    with suppress(OSError):
        print(f"steer: {message}", file=sys.stderr, flush=True)


_interrupted: list[bool] = []  # filled by Ctrl-C


def _interrupt(*_: object) -> None:
    _interrupted.append(True)
    raise KeyboardInterrupt


def _swallowed(unraisable: object) -> None:
    """Ctrl-C where Python cannot raise it (a destructor, a weak reference's callback) comes again a moment later."""
    import signal

    if issubclass(getattr(unraisable, "exc_type", Exception), KeyboardInterrupt):
        if hasattr(signal, "setitimer"):
            signal.signal(signal.SIGALRM, _interrupt)
            signal.setitimer(signal.ITIMER_REAL, 0.005)
    else:
        sys.__unraisablehook__(unraisable)  # type: ignore[arg-type]


def _stopped() -> int:
    print("steer: stopped", file=sys.stderr)
    return 130


def _drop_output() -> None:
    import os

    if sys.stdout is not None:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _own_streams() -> None:
    """A stream that the caller closed becomes an empty one; what an encoding lacks is written otherwise."""
    import codecs
    import os

    from steer.text import plainer

    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115
    codecs.register_error("plainer", plainer)
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="plainer")


def console() -> None:
    """Entry point of the `steer` console command."""
    try:
        import signal

        if signal.getsignal(signal.SIGINT) is signal.default_int_handler:  # else somebody wants it ignored
            signal.signal(signal.SIGINT, _interrupt)
            sys.unraisablehook = _swallowed
        _own_streams()
        code = main()
        signal.signal(signal.SIGINT, signal.SIG_DFL)  # what is left is to leave
    except KeyboardInterrupt:
        code = _stopped()
    sys.exit(code)


if __name__ == "__main__":
    console()
