"""Pictures of the screens for the documentation, made by the screens themselves.

python -m steer.cli.picture FOLDER OUT.svg [--size 120x40] [--screen stroke|shots|asbuilt|log] [--palette slate]
"""

from __future__ import annotations

import argparse
import asyncio
import re
import sys
from pathlib import Path

from steer.errors import CommandLineWrong, FolderUnusable, SteerError


async def picture(folder: Path, size: tuple[int, int], screen: str, palette: str) -> str:
    """The screen over a drive folder as SVG text; readings are taken for fresh, whatever their age."""
    from steer.cli.screen_source import ScreenSource
    from steer.drive import Drive
    from tui.app import SteerApp

    app = SteerApp(
        lambda: ScreenSource(Drive.open(folder)), name=str(folder), palette=palette, stale_minutes=0.0
    )
    async with app.run_test(size=size) as pilot:
        while app.scene.snapshot is None and not app.scene.trouble and app.is_running:
            await pilot.pause(0.05)
        if app.refusal is not None:
            raise app.refusal
        if app.scene.snapshot is None:
            raise FolderUnusable(app.scene.trouble or "the screen ended before there was anything to show")
        await pilot.press("1")  # the greeting goes
        await app.action_mode(screen)
        for _ in range(20):
            await pilot.pause(0.1)
        name = app.scene.snapshot.name if app.scene.snapshot is not None else ""
        plain = re.sub(r"<circle [^>]*/>", "", app.export_screenshot(title=name))  # buttons of no window
        # Some programs drop the blanks at the ends of a text unless told not to.
        return plain.replace("<text ", '<text xml:space="preserve" ')


def main() -> int:
    """Writes one picture; exit codes as of every command."""
    parser = argparse.ArgumentParser(
        prog="python -m steer.cli.picture", description="One screen as an SVG picture."
    )
    parser.add_argument("folder", type=Path)
    parser.add_argument("out", type=Path, metavar="OUT.svg")
    parser.add_argument("--size", default="120x40", help="columns x rows")
    parser.add_argument("--screen", default="stroke", choices=("stroke", "shots", "asbuilt", "log"))
    parser.add_argument("--palette", default="slate", choices=("slate", "daylight", "night", "plain"))
    args = parser.parse_args()
    try:
        found = re.fullmatch(r"(\d{2,3})x(\d{2,3})", args.size)
        if not found:
            raise CommandLineWrong(f"--size {args.size}: allowed is such as 120x40")
        size = (int(found[1]), int(found[2]))
        args.out.write_text(
            asyncio.run(picture(args.folder, size, args.screen, args.palette)), encoding="utf-8"
        )
    except SteerError as error:
        print(f"steer.cli.picture: {error}", file=sys.stderr)
        return error.exit_code
    except OSError as error:
        print(f"steer.cli.picture: {args.out}: {error.strerror}", file=sys.stderr)
        return 3
    return 0


if __name__ == "__main__":
    sys.exit(main())
