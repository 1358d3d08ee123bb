"""`steer shots FOLDER FILE…`: check shots from files into the log."""

from __future__ import annotations

import argparse

EXAMPLE = """\
CSV with a header, or JSON Lines. One independent survey of a point a row:
  time, chainage_m, point (face, target, tail or pipe), then
  line_mm, level_mm (either may be empty)   or   easting_m, northing_m, level_m
  and sd_mm (or sd_line_mm, sd_level_mm), note
chainage_m is the face's when the shot was taken; for pipe it is the surveyed point's own, and may be left out
with coordinates. A shot counts at the chainage where it was taken, however late it comes.
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = EXAMPLE
    parser.add_argument("folder", metavar="FOLDER", help="the drive's folder")
    parser.add_argument("files", metavar="FILE", nargs="+", help="check shots, CSV or JSON Lines")
    parser.add_argument(
        "--map", metavar="MAP.toml", help="where the fields stand in files with other headers"
    )


def run(args: argparse.Namespace) -> int:
    from steer.intake import store_shots

    for account in store_shots(args.folder, args.files, args.map):
        print(account.line())
    return 0
