"""`steer read FOLDER FILE…`: readings from files into the log."""

from __future__ import annotations

import argparse

from steer.cli.making import named_map

EXAMPLE = """\
CSV with a header, or JSON Lines. Every column but chainage_m is optional; an empty cell is a value that was
not measured. Units and signs, looking ahead: + right, + high, + nose right, + nose up, + clockwise.
  time, chainage_m, spot_right_mm, spot_up_mm (or target_line_mm, target_level_mm), yaw_mm_per_m,
  pitch_mm_per_m, roll_deg, cylinder_1_mm … cylinder_N_mm (JSON: cylinder_mm, an array), jacking_force_kn,
  face_pressure_kpa, torque_knm, advance_mm_per_min, lubricant_l, note
A time without a zone is UTC. All files are stored, or, when anything in one of them is wrong, none.
A file that was read before is not stored again, and of one that has grown since only the new rows are.

MAP.toml names the columns of files with other headers; value = factor · cell + offset:
  chainage_m = "Station [m]"
  spot_right_mm = { column = "X [m]", factor = -1000.0 }
"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.epilog = EXAMPLE
    parser.add_argument("folder", metavar="FOLDER", help="the drive's folder")
    parser.add_argument("files", metavar="FILE", nargs="+", help="readings, CSV or JSON Lines")
    parser.add_argument(
        "--map", type=named_map, metavar="MAP.toml", help="where the fields stand in files with other headers"
    )


def run(args: argparse.Namespace) -> int:
    import gc

    from steer.cli.patience import said_when_slow
    from steer.intake import store_readings

    gc.disable()  # rows hold no cycles, and looking for some took a quarter of the time of a long file
    with said_when_slow("still reading; nothing is stored until all of it has been checked"):
        accounts = store_readings(args.folder, args.files, args.map)
    for account in accounts:
        print(account.line())
    return 0
