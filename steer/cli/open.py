"""`steer open`: the terminal screens over a drive folder."""

from __future__ import annotations

import argparse
import os
import signal
import sys
import threading
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from steer.cli.making import named_folder
from steer.errors import CommandLineWrong, FolderUnusable

if TYPE_CHECKING:
    from tui.app import SteerApp
    from tui.source import Source

PALETTES = ("slate", "daylight", "night", "plain")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Folder, and how the screens look."""
    parser.add_argument("folder", type=named_folder, help="the drive's folder")
    add_look(parser)


def add_look(parser: argparse.ArgumentParser, stale_default: str | None = "15; 0: never") -> None:
    """Options of every command that opens the screens; `stale_default` None: of one where no reading is too old."""
    parser.add_argument(
        "--ascii", action="store_true", help="draw with ASCII only (also: STEER_ASCII=1 in the environment)"
    )
    parser.add_argument(
        "--palette", choices=PALETTES, default="slate", help="palette to start with; NO_COLOR is honoured"
    )
    if stale_default is not None:
        parser.add_argument(
            "--stale-after",
            type=float,
            default=None,
            metavar="MINUTES",
            help=f"hide the proposal when no reading came for so many minutes (default {stale_default})",
        )


def run(args: argparse.Namespace) -> int:
    """Opens the drive and its screens until the person leaves."""
    folder = Path(args.folder)
    if not (folder / "drive.toml").is_file():
        # The commonest mistake is said before a screen comes up.
        open_drive(folder)
    return show(lambda: open_drive(folder), args, str(folder))


def open_drive(folder: Path) -> Source:
    """The drive for its screens. One that cannot be written can still be looked at; storing then says why not."""
    from steer.cli.screen_source import ScreenSource
    from steer.drive import Drive

    try:
        return ScreenSource(Drive.open(folder, write=True))
    except FolderUnusable as refusal:
        drive = Drive.open(folder, write=False)
        drive.log.why_read_only = str(refusal)
        return ScreenSource(drive)


def has_terminal() -> bool:
    """Whether there is a terminal for the keys and one to paint on."""
    return sys.stdin.isatty() and (sys.stderr.isatty() or sys.stdout.isatty())


def show(
    open_source: Callable[[], Source],
    look: argparse.Namespace,
    name: str,
    make: Callable[..., SteerApp] | None = None,
) -> int:
    """Runs the screens over the source that `open_source` opens, in the one thread that will use it.

    `look` holds what `add_look` added, or less; `name` stands on the screen until the source is open;
    `make` makes the program of the screens (None: `SteerApp`).
    Raises what `open_source` refuses, after the screen has gone.
    """
    if not has_terminal():
        raise CommandLineWrong("the screens need a terminal; `steer next FOLDER` prints the same as text")
    stale_after = getattr(look, "stale_after", None)
    if stale_after is not None and not 0.0 <= stale_after < 1e6:
        raise CommandLineWrong(f"--stale-after {stale_after:g}: allowed are 0 or more minutes")
    from tui.app import SteerApp
    from tui.desk import Desk
    from tui.draw.scene import DEFAULT_STALE_MINUTES

    # The screens are painted there; what is written to a file instead are the messages.
    painted, sys_ = sys.__stderr__, cast(Any, sys)
    if not sys.stderr.isatty():
        sys_.__stderr__ = sys.__stdout__
    desk = Desk()
    more: dict[str, Any] = {}
    if os.name == "posix":
        from tui.plain_terminal import PlainDriver, few_colours, is_plain

        more = {"few_colours": few_colours()}
        if is_plain():
            more |= {"few_glyphs": True, "driver_class": PlainDriver}
    try:
        app = (make or SteerApp)(
            open_source,
            desk,
            name=name,
            ascii_only=getattr(look, "ascii", False) or _ascii_wanted(),
            palette=getattr(look, "palette", None) or "slate",
            stale_minutes=DEFAULT_STALE_MINUTES if stale_after is None else stale_after,
            **more,
        )
        if (
            callable(signal.getsignal(signal.SIGINT))
            and threading.current_thread() is threading.main_thread()
        ):
            # the event loop's own answer to an interrupt, which puts the terminal right, needs Python's handler
            signal.signal(signal.SIGINT, signal.default_int_handler)
        # Without the mouse a terminal's own selecting and copying keep working.
        app.run(mouse=False)
        if app.scene.at_work:
            print(
                f"steer: {app.scene.at_work}; that is finished first. `steer shots {name}` lists what came in.",
                file=sys.stderr,
                flush=True,
            )
        desk.start(lambda: getattr(app.source, "close", lambda: None)()).result()
        if app.refusal is not None:
            raise app.refusal
        if app.fault:
            print(
                "steer: the screens ended by a fault in the program, above: please report it. What was stored is in the "
                "log; open again.",
                file=sys.stderr,
            )
        return app.return_code or int(app.fault)
    finally:
        sys_.__stderr__ = painted
        desk.close()


def _ascii_wanted() -> bool:
    asked = os.environ.get("STEER_ASCII", "")
    if asked:
        return asked != "0"
    encoding = (sys.stderr.encoding or "").lower().replace("-", "")
    if not encoding.startswith("utf"):
        return True
    if os.name != "posix":
        return False
    # Python takes a locale that names no encoding for UTF-8 (and sets LC_CTYPE to C.UTF-8): an emulator of today
    # shows that, a plain terminal may not.
    from tui.plain_terminal import is_plain

    everything, characters, language = (os.environ.get(n, "") for n in ("LC_ALL", "LC_CTYPE", "LANG"))
    said = everything or (characters if characters != "C.UTF-8" else "") or language
    return is_plain() and "utf" not in said.lower().replace("-", "")
