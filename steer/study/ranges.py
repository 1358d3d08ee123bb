"""What a study draws its grounds and guidance from: stated ranges, each drawn evenly between its ends.

The defaults are invented and wide; a study of a real drive brings its own, from the ground investigation
and from drives nearby, in a TOML file with the same keys.
"""

from __future__ import annotations

import difflib
import math
import tomllib
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from steer.errors import InputRefused
from steer.ground.bodies import KINDS

Pair = tuple[float, float]


@dataclass(frozen=True)
class Ranges:
    """Ends (low, high) of each range; line and level are drawn apart. Meanings in `_ABOUT`."""

    kinds: tuple[str, ...] = ("elastic", "guided", "lagged")
    gain: Pair = (0.35, 0.9)
    gain_elastic: Pair = (0.65, 1.0)
    stretch_m: Pair = (25.0, 70.0)
    crab_mm_per_m: Pair = (-2.5, 2.5)
    dive_mm_per_m: Pair = (0.0, 2.5)
    crab_wander_mm_per_m: Pair = (0.3, 1.2)
    crab_length_m: Pair = (10.0, 40.0)
    ground_bend_mm_per_m2: Pair = (-0.4, 0.4)
    lag_lengths: Pair = (0.5, 1.5)
    play_mm_per_m: Pair = (0.0, 2.0)
    gap_mm: Pair = (0.0, 3.0)
    roll_sd_deg: Pair = (0.2, 1.0)
    friction_kpa: Pair = (1.0, 4.0)  # a lubricated string; without, 5 to 25 (see steer.pipes.friction)
    face_pressure_kpa: Pair = (40.0, 150.0)
    noise_scale: Pair = (0.8, 1.2)
    dropout_share: Pair = (0.0, 0.03)
    reference_walk_mm_per_m: Pair = (0.0, 0.03)
    refraction_k_per_m: Pair = (-0.3, 0.3)
    check_every_m: Pair = (30.0, 30.0)
    check_sd_mm: Pair = (2.0, 3.0)


# name -> (lowest, highest that is allowed, what it is)
_ABOUT: dict[str, tuple[float, float, str]] = {
    "gain": (0.02, 3.0, "answer to steering as a share of the rigid geometry (guided, lagged)"),
    "gain_elastic": (0.02, 3.0, "share of the articulation that reaches the ground (elastic)"),
    "stretch_m": (1.0, 10_000.0, "length of ground between two changes"),
    "crab_mm_per_m": (-50.0, 50.0, "mean crab of a stretch"),
    "dive_mm_per_m": (0.0, 50.0, "the machine's weight: taken off the crab in level"),
    "crab_wander_mm_per_m": (0.0, 20.0, "sd of the crab's wander about that mean"),
    "crab_length_m": (0.5, 1_000.0, "over which the wander forgets"),
    "ground_bend_mm_per_m2": (-5.0, 5.0, "curvature that the ground imposes (lagged)"),
    "lag_lengths": (0.05, 10.0, "distance of the answer, in machine lengths (lagged)"),
    "play_mm_per_m": (0.0, 20.0, "lost motion when the articulation changes sign"),
    "gap_mm": (0.0, 50.0, "radial overcut (elastic)"),
    "roll_sd_deg": (0.0, 10.0, "sd of the roll"),
    "friction_kpa": (0.0, 100.0, "on the pipe surface, lubricated; 5 to 25 without"),
    "face_pressure_kpa": (0.0, 2_000.0, "at the face"),
    "noise_scale": (0.0, 10.0, "true noise of the guidance over [sd] of drive.toml"),
    "dropout_share": (0.0, 0.9, "share of readings without spot and yaw"),
    "reference_walk_mm_per_m": (0.0, 5.0, "drift of the reference direction, sd after 100 m"),
    "refraction_k_per_m": (-10.0, 10.0, "temperature gradient across the beam"),
    "check_every_m": (1.0, 10_000.0, "spacing of check surveys"),
    "check_sd_mm": (0.1, 100.0, "sd of a check survey"),
}


def load_ranges(path: str | Path) -> Ranges:
    """Ranges from a TOML file: keys as in `Ranges`, each [low, high] or one number; what it leaves out
    keeps its default. Raises InputRefused with every problem."""
    name = Path(path).name
    try:
        with open(path, "rb") as file:
            found = tomllib.load(file)
    except OSError as error:
        raise InputRefused(f"{path}: cannot be read: {error.strerror}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputRefused(f"{name}: is not TOML: {error}") from None
    problems: list[str] = []
    taken: dict[str, tuple[str, ...] | Pair] = {}
    known = [field.name for field in fields(Ranges)]
    for key, value in found.items():
        if key not in known:
            near = difflib.get_close_matches(key, known, 1)
            hint = f"; is {near[0]} meant?" if near else ""
            problems.append(f"{name}: {key} is not known{hint}")
        elif key == "kinds":
            if not isinstance(value, list) or not value or any(v not in KINDS for v in value):
                problems.append(f"{name}: kinds = {value!r}: a list of {', '.join(KINDS)} is allowed")
            else:
                taken[key] = tuple(value)
        else:
            pair = _pair(value)
            low, high, _ = _ABOUT[key]
            if pair is None or not low <= pair[0] <= pair[1] <= high:
                problems.append(
                    f"{name}: {key} = {value!r}: [low, high] within {low:g} to {high:g} is allowed"
                )
            else:
                taken[key] = pair
    if problems:
        raise InputRefused(problems)
    return Ranges(**taken)  # type: ignore[arg-type]


def _pair(value: object) -> Pair | None:
    both: list[Any] = value if isinstance(value, list) else [value, value]
    if len(both) != 2 or any(isinstance(v, bool) or not isinstance(v, int | float) for v in both):
        return None
    low, high = float(both[0]), float(both[1])
    return (low, high) if math.isfinite(low) and math.isfinite(high) else None


def ranges_text(ranges: Ranges) -> str:
    """The ranges as TOML, with what each is; `load_ranges` reads it back."""
    lines = ["# Each study's ground and guidance is drawn evenly between these ends. Invented figures."]
    lines.append(f"kinds = [{', '.join(f'{chr(34)}{k}{chr(34)}' for k in ranges.kinds)}]")
    for name, (_, _, about) in _ABOUT.items():
        low, high = getattr(ranges, name)
        lines.append(f"{f'{name} = [{low!r}, {high!r}]':<44}# {about}")
    return "\n".join(lines) + "\n"
