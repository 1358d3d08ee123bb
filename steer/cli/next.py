"""`steer next FOLDER [--json]`: the estimate and the next correction."""

from __future__ import annotations

import argparse
import json
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from steer.advice import Advice
    from steer.drive import Drive
    from steer.log import Event


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", metavar="FOLDER", help="the drive's folder")
    parser.add_argument("--json", action="store_true", help="print the advice object, as the feed gives it")


def run(args: argparse.Namespace) -> int:
    from steer.drive import Drive
    from steer.errors import InputRefused
    from steer.says import advice_object, page
    from steer.text import printable

    with Drive.open(args.folder) as drive:
        advice = _whole(drive)
        if args.json:
            if advice is None:
                raise InputRefused(
                    f"{args.folder}: no reading yet, so there is no advice: add some with `steer read`"
                )
            print(json.dumps({"kind": "advice", **advice_object(advice)}, allow_nan=False))
        elif advice is None:
            print("No reading yet: add some with `steer read`, or run `steer feed`.")
        else:
            name, end_m = printable(drive.file.drive.name), drive.file.axis.end_chainage_m
            decided = _decided(drive, advice)
            own = decided is not None and decided.kind == "overridden"
            told = drive.follower.cylinders.unread
            print(page(name, advice, end_m, _as_of(drive, advice, decided), own, told))
    return 0


def _whole(drive: Drive) -> Advice | None:
    """The advice with what the joints behind the face say to the force, as the screens have it."""
    from steer.asbuilt.force_now import SharpestJoint

    advice = drive.advice()
    if advice is None or not drive.follower.forces.peaks:
        return advice
    joints = SharpestJoint(drive.file)
    return joints.tell(advice, drive.follower, drive.smoothed(), drive.decisions)


def _decided(drive: Drive, advice: Advice) -> Event | None:
    """What was decided last for the coming stroke."""
    settings = [d for d in drive.decisions if d.kind != "note" and int(d.body["stroke"]) == advice.stroke]
    return settings[-1] if settings else None


def _as_of(drive: Drive, advice: Advice, decided: Event | None) -> str:
    """When the newest reading was taken, or came where it tells no time, and what was decided for the coming stroke."""
    from steer.says import turned
    from steer.text import printable

    present = drive.follower.present
    time, came = (present.time, "") if present.timed else (drive.last_reading_arrival, " came")
    parts = [f"last reading{came} {printable(time)[:16].replace('T', ' ')} UTC" if time else "no reading yet"]
    if decided is not None:
        body = decided.body
        made = turned(float(body["right_mm_per_m"]), float(body["up_mm_per_m"]))
        if decided.kind == "accepted":
            parts.append(f"stroke {advice.stroke + 1} accepted: {made}")
        else:
            set_mm = ", ".join(f"{n}: {round(mm, 1):g}" for n, mm in enumerate(body["cylinder_mm"], 1))
            parts.append(f"stroke {advice.stroke + 1} OWN SETTING: {made}, cylinders {set_mm} mm. It stands")
    return "; ".join(parts)
