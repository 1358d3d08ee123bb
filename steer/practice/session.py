"""One practice drive: each stroke jacked on the simulated ground, everything stored in its folder.

The log holds, besides what every drive's log holds, one `practice` event (preset, seed, how the proposal
is shown) and a `practice_stroke` after the readings of each stroke (number, cylinder extensions as set).
The ground depends on nothing but these, so a session that broke off goes on from its folder.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import Any

import numpy as np

from steer.advice import Advice
from steer.closed_loop.from_files import own_setting
from steer.drive import Drive
from steer.drivefile import FILE_NAME, load_drive
from steer.errors import FolderUnusable, InputRefused
from steer.ground import Scenario, Simulation
from steer.ground.folder import write_drive_file
from steer.ground.from_file import drive_dict
from steer.ground.presets import DRIVE, PRESETS, preset_scenario
from steer.intake import check_shot_from_json, reading_from_json
from steer.intake.stored import drive_files
from steer.log import LOG_NAME

PROPOSAL = ("shown", "hidden", "after")  # after: once the person has chosen


def preset_named(text: str) -> str:
    """The preset of a name, with blanks, hyphens, underscores or none. Raises InputRefused for another."""
    letters = {name.replace(" ", ""): name for name in PRESETS}
    name = letters.get(re.sub(r"[\s_-]", "", text.lower()))
    if name is None:
        raise InputRefused(f"ground {text!r} is not known: {', '.join(PRESETS)} are allowed")
    return name


def free_for_a_drive(folder: Path) -> None:
    """Raises InputRefused when a folder holds a drive, or a log that a drive made there would go on."""
    if (folder / FILE_NAME).exists():
        raise InputRefused(f"{folder}: there is a drive in it already; name a new folder, or --resume it")
    if (folder / LOG_NAME).exists():
        raise InputRefused(f"{folder}: there is a {LOG_NAME} without a {FILE_NAME} in it; name a new folder")


class Session:
    """A practice drive under way. Make it with `begin` or `resume`; a context manager, or `close()` it."""

    def __init__(self, drive: Drive, scenario: Scenario, proposal: str) -> None:
        self.drive, self.scenario, self.proposal = drive, scenario, proposal
        self.simulation = Simulation(scenario)
        self.set_mm: list[np.ndarray] = []  # cylinder extensions of each stroke jacked
        self.first_readings = self.simulation.start()
        self.last_readings: list[dict[str, Any]] = []
        self.last_shots: list[dict[str, Any]] = []

    @classmethod
    def begin(
        cls,
        folder: str | Path,
        preset: str,
        seed: int,
        proposal: str = "shown",
        like: str | Path | None = None,
    ) -> Session:
        """A new folder, the machine standing in the launch. With `like` the drive file of that folder is
        driven instead of the presets' own. Raises InputRefused when `folder` holds a drive already."""
        place = Path(folder)
        free_for_a_drive(place)
        scenario = _scenario(preset, seed, like)
        # Made beside the folder and moved in, drive.toml last: whatever breaks off leaves no half a drive.
        making = place.parent / f".{place.name}.making"
        try:
            shutil.rmtree(making, ignore_errors=True)  # of a making that was killed
            making.mkdir(parents=True)
            if like is None:
                write_drive_file(scenario.drive, making)
            else:
                for name in drive_files(load_drive(like)):
                    shutil.copyfile(Path(like) / name, making / name)
            with cls(Drive.open(making, write=True), scenario, proposal) as session:
                made = {"preset": preset, "seed": seed, "proposal": proposal, "invented": True}
                session._store([("practice", made)], session.first_readings, [])
            place.mkdir(exist_ok=True)
            for path in sorted(making.iterdir(), key=lambda path: path.name == FILE_NAME):
                path.rename(place / path.name)
        except OSError as error:
            raise FolderUnusable(f"{place}: cannot be written: {error.strerror}") from None
        finally:
            shutil.rmtree(making, ignore_errors=True)
        session.drive = Drive.open(place, write=True)
        return session

    @classmethod
    def resume(cls, folder: str | Path) -> Session:
        """Goes on where a practice drive was left. Raises InputRefused for a folder that is none."""
        place = Path(folder)
        drive = Drive.open(place, write=True)
        try:
            made, strokes = _practice_of(drive)
            # The folder's own drive file describes the drive, whichever it was made from.
            scenario = preset_scenario(
                preset_named(made["preset"]), int(made["seed"]), drive_dict(drive.file)
            )
            session = cls(drive, scenario, str(made["proposal"]))
            for cylinder_mm in strokes:
                session._advance(np.array(cylinder_mm, float))
            if strokes and drive.strokes < len(strokes):
                drive.stroke_end(round(session.simulation.chainage_m, 4))
        except BaseException:
            drive.close()
            raise
        return session

    def close(self) -> None:
        """Closes the drive."""
        self.drive.close()

    def __enter__(self) -> Session:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def finished(self) -> bool:
        """The machine has arrived."""
        return self.simulation.finished

    def decision(self) -> dict[str, Any] | None:
        """What has been decided for the coming stroke: the event's body with its `kind`, or None."""
        advice = self.drive.advice()
        for event in reversed(self.drive.decisions):
            if event.kind in ("accepted", "overridden"):
                if advice is None or event.body.get("stroke") != advice.stroke:
                    return None
                return {"kind": event.kind} | event.body
        return None

    def standing(self) -> np.ndarray:
        """The cylinders (N,) mm as set last; all at neutral, on whole steps, before the first stroke."""
        if self.set_mm:
            return self.set_mm[-1]
        cylinders = self.drive.file.machine.cylinders
        neutral = np.round(cylinders.neutral_mm / cylinders.step_mm) * cylinders.step_mm
        return np.full(len(cylinders.positions_deg), float(neutral))

    def choose(self, cylinder_mm: np.ndarray) -> None:
        """The coming stroke gets these extensions (N,) mm: stored as an override, whatever they are."""
        self.drive.add("overridden", own_setting(self.drive, cylinder_mm))

    def jack(self) -> Advice:
        """One stroke with what was decided, or with the cylinders as they stand when nothing was.

        Readings, check shots and the setting are stored in one transaction, then the stroke's end.
        Raises InputRefused when the machine has arrived.
        """
        if self.finished:
            raise InputRefused("the machine has arrived: there is no stroke left to jack")
        decided = self.decision()
        wanted = self.standing() if decided is None else np.array(decided["cylinder_mm"], float)
        readings, shots = self._advance(wanted)
        stroke = {"stroke": len(self.set_mm), "cylinder_mm": [float(v) for v in wanted]}
        self._store([], readings, shots, [("practice_stroke", stroke)])
        return self.drive.stroke_end(round(self.simulation.chainage_m, 4))

    def _advance(self, wanted: np.ndarray) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
        self.last_readings = self.simulation.advance(wanted)
        self.last_shots = self.simulation.shots()
        self.set_mm.append(wanted)
        return self.last_readings, self.last_shots

    def _store(
        self,
        before: list[tuple[str, dict[str, Any]]],
        readings: list[dict[str, Any]],
        shots: list[dict[str, Any]],
        after: list[tuple[str, dict[str, Any]]] | None = None,
    ) -> None:
        file = self.drive.file
        lines = [("reading", reading_from_json(_given(r), file)) for r in readings]
        lines += [("check_shot", check_shot_from_json(_given(s), file)) for s in shots]
        self.drive.log.append_many([*before, *lines, *(after or [])])
        self.drive.refresh()


def _given(line: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in line.items() if value is not None}


def _scenario(preset: str, seed: int, like: str | Path | None) -> Scenario:
    drive = DRIVE if like is None else drive_dict(load_drive(like))
    return preset_scenario(preset, seed, drive)


def _practice_of(drive: Drive) -> tuple[dict[str, Any], list[list[float]]]:
    made: dict[str, Any] | None = None
    strokes: list[list[float]] = []
    for event in drive.events():
        if event.kind == "practice":
            made = event.body
        elif event.kind == "practice_stroke":
            strokes.append(list(event.body["cylinder_mm"]))
    if made is None:
        raise InputRefused(f"{drive.folder}: this is no practice drive; its log holds no practice event")
    return made, strokes
