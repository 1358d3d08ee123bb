"""From the log's events to the estimator's items: readings become cells, shots and settings nodes.

What the follower holds is a pure function of the events it was given, in sequence. A few events
change how earlier readings are to be read (a late reference setting, a corrected chainage counter):
`take` answers False for them, and a new follower, told of them beforehand by `rulings`, reads the log
again.
"""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np

from steer.drivefile import DriveFile
from steer.estimate.cells import Cell, Track, cell_length, standing_places
from steer.estimate.cylinders import CylinderReadings, Standing, carried
from steer.estimate.estimator import Estimator
from steer.estimate.forces import Forces
from steer.estimate.geometry import Columns, Reference, reduce
from steer.estimate.nodes import Node
from steer.estimate.present import Present
from steer.estimate.rulings import Rulings, correction_of, counter_at, counter_lacks, setting_of
from steer.estimate.run import Frozen, Run
from steer.estimate.shots import REACHED_M, Shot, shot_of
from steer.estimate.words import ShotWords

_FIELDS = (
    "spot_right_mm",
    "spot_up_mm",
    "target_line_mm",
    "target_level_mm",
    "yaw_mm_per_m",
    "pitch_mm_per_m",
)
_WIDTH = len(_FIELDS)
HANDED_OVER_AGAIN = 60  # newest readings among which one is looked for that comes twice


class Follower:
    """Feeds an Estimator from events. `node()` is the estimate at the furthest reading."""

    def __init__(self, drive: DriveFile, known: Rulings | None = None) -> None:
        self.drive = drive
        self.estimator = Estimator(drive)
        self.known = known or Rulings()
        self.first_setting = Reference.of(drive)
        self.track = Track(drive.axis.start_chainage_m)
        self.cell_m = cell_length(drive.drive.stroke_m)
        self.batch: list[tuple[int, dict[str, Any]]] = []
        self.held: dict[int, tuple[int, dict[str, Any]]] = {}
        self.open_cell: Cell | None = None
        self.open_rows: list[np.ndarray] = []
        self.present = Present(max(1.0, drive.machine.cylinders.step_mm))
        self.carried_roll_deg = 0.0  # of the readings that count
        self.roll_at_m = -math.inf  # where it was last read
        self.cylinders = CylinderReadings(drive.machine, drive.drive.stroke_m)
        self.runs = {"yaw": Run(), "pitch": Run()}
        self.spot = Frozen()
        self.top_m = drive.axis.start_chainage_m
        self.cell_top_m = drive.axis.start_chainage_m
        self.readings = 0
        self.times: tuple[str, str] | None = None  # first and newest of the readings, as they say
        self.forces = Forces(drive.axis.start_chainage_m, drive.drive.stroke_m)
        self.recent: list[tuple[int, dict[str, Any]]] = []
        self._standing: tuple[tuple[object, ...], Standing] | None = None
        self.shots: dict[int, Shot] = {}
        self.words = ShotWords()
        self.late: dict[int, Any] = {}
        for setting in self.known.settings:
            self.estimator.put(setting)

    # ---- events

    def take(self, event: Any) -> bool:
        """Take the next event. False: it changes how earlier readings count; read the log again."""
        kind = event.kind
        if kind == "reading":
            self.batch.append((event.sequence, event.body))
        elif kind == "check_shot":
            shot = shot_of(self.drive, event.sequence, event.body)
            if shot is not None:
                self.shots[event.sequence] = shot
                self.estimator.put(shot)
        elif kind == "reference_set":
            if any(s.sequence == event.sequence for s in self.known.settings):
                return True
            self._work()
            setting = setting_of(self.drive, event)
            if setting.s_m < self.top_m - 5e-4:
                return False
            self.known = Rulings(
                tuple(sorted((*self.known.settings, setting), key=lambda s: (s.s_m, s.sequence))),
                self.known.counter,
                self.known.undone,
            )
            self.estimator.put(setting)
        elif kind == "stroke_end":
            self._work()
            lacks = counter_lacks(self.known.counter, event.sequence)
            self._accept(self.track.settle(float(event.body["chainage_m"]) + lacks))
        elif kind in ("advised", "accepted", "overridden") and event.sequence not in self.known.undone:
            self._work()
            at_m = None if kind == "advised" else self.top_m
            self.cylinders.tell(event.sequence, event.body["cylinder_mm"], self.roll_deg, at_m)
        elif kind == "undone":
            undone = int(event.body["event"])
            return undone in self.known.undone or self.cylinders.take_back(undone)
        elif kind == "chainage_set":
            return correction_of(event) in self.known.counter
        elif (shot_number := self.words.take(event)) is not None:
            self._word(shot_number, self.words.word(shot_number))
        return True

    def bring_up(self) -> None:
        """Fold all that has been taken."""
        self._work()
        if self.track.accepted == 0:
            self._accept(self.track.settle(None))
        self.estimator.run()

    def keep_up(self) -> None:
        """Fold the cells that the readings taken have left behind, so that whoever asks next waits less: the
        estimate comes out the same. Cylinders that do not fit one another are judged with all of their stroke."""
        if not self.batch:
            return
        begun = math.ceil((self.top_m - self.drive.axis.start_chainage_m) / self.cell_m - 1e-6)
        end_m = self.drive.axis.start_chainage_m + begun * self.cell_m
        if float(self.batch[-1][1]["chainage_m"]) + self.track.offset_m <= end_m:
            return
        if not self.cylinders.fit_one_another([body for _, body in self.batch], self.roll_deg):
            return
        self._work()
        self.estimator.run(before=self.open_cell)

    def node(self, chainage_m: float | None = None) -> Node:
        """The newest node at or before `chainage_m` (None: the furthest reading), after `bring_up`."""
        at = self.top_m if chainage_m is None else chainage_m
        if at > self.top_m - REACHED_M:
            at = max(at, self.top_m + REACHED_M)  # a shot may stand a little beyond the last reading
        return self.estimator.node_at(at)

    def standing(self) -> Standing:
        """The cylinders as they stand."""
        c = self.cylinders
        key = (self.readings, self.roll_deg, c.told_mm, c.read_mm, c.fitting_mm, c.silent)
        if self._standing is None or self._standing[0] != key:
            self._standing = (key, c.standing([body for _, body in self.recent], self.roll_deg))
        return self._standing[1]

    @property
    def roll_deg(self) -> float:
        """The machine's roll as read last."""
        return self.present.roll_deg

    def standing_or_neutral(self) -> np.ndarray:
        """The cylinders as they stand (N,) mm; at the start, where nobody has said, all at neutral."""
        found = self.standing().mm
        if found is not None:
            return found
        cyl = self.drive.machine.cylinders
        return np.full(len(cyl.positions_deg), np.round(cyl.neutral_mm / cyl.step_mm) * cyl.step_mm)

    def newest_force(self) -> tuple[float, float] | None:
        """The largest jacking force read over the last stroke (kN), and its chainage (m); None where none was."""
        return self.forces.newest(self.top_m)

    # ---- shots

    def _word(self, sequence: int, word: str | None) -> None:
        """What holds of a shot by a person's word; None: nothing was said, or it was taken back."""
        old = self.shots.get(sequence)
        if old is None:
            return
        self.estimator.take_out(old)
        self.shots[sequence] = new = replace(old, word=word)
        self.estimator.put(new)

    # ---- readings

    def _work(self) -> None:
        if not self.batch:
            return
        rows, self.batch = self.batch, []
        taken: list[tuple[int, dict[str, Any], float]] = []
        counter, track = self.known.counter, self.track
        track.counter(*counter_at(counter, rows[0][0]))
        for i, (sequence, body) in enumerate(rows):
            if counter:
                track.counter(*counter_at(counter, sequence))
            time = body.get("time")
            if self._told_before(time, body):
                track.ignored += 1
                continue
            old = time is not None and self.times is not None and self.times[0] <= time <= self.times[1]
            if time is not None and not old:
                self.times = (time, time) if self.times is None else (self.times[0], max(self.times[1], time))
            counted = track.offer(i, sequence, float(body["chainage_m"]), old)
            self.held[i] = (sequence, self._present(sequence, body))
            taken += [(*self.held.pop(index), s) for index, s in counted]
            if track.waiting is None or track.waiting[0] != i:
                self.held.pop(i, None)
        waiting = track.waiting
        if waiting is not None and waiting[0] >= 0:
            self.held = {-1: self.held[waiting[0]]}
            track.waiting = (-1, waiting[1], waiting[2])
        elif waiting is None:
            self.held = {}
        self.readings += len(rows)
        self.recent = self.recent[-400:]
        self._group(taken)

    def _told_before(self, time: str | None, body: dict[str, Any]) -> bool:
        """Whether a reading is one of the newest handed over again, word for word."""
        newest = self.present.time
        if time is None or newest is None or time > newest:
            return False
        return any(body == told for _, told in self.recent[-HANDED_OVER_AGAIN:])

    def _present(self, sequence: int, body: dict[str, Any]) -> dict[str, Any]:
        """The body of the reading just offered to the track, without what is no longer so."""
        track = self.track
        s = float(body["chainage_m"]) + track.offset_m
        top_m = s if track.top_m is None else track.top_m
        still, newest = self.present.take(sequence, body, s, top_m)
        if (kn := body.get("jacking_force_kn")) is not None:
            self.forces.take(sequence, float(kn), s, top_m, not newest)
        if newest:
            self.recent.append((sequence, still))
        if track.lost:
            self.present.heard = sequence
        return still

    def _accept(self, settled: list[tuple[int, float]]) -> None:
        self._group([(*self.held.pop(index), s) for index, s in settled])

    def _group(self, taken: list[tuple[int, dict[str, Any], float]]) -> None:
        """Reduce accepted readings and cut them into cells; columns of a row are listed in `_row`."""
        if not taken:
            return
        table = self._table(taken)
        if self.open_cell is not None:
            table = np.concatenate([*self.open_rows, table])
            top_before = self.cell_top_m
        else:
            top_before = self.top_m
        s = table[:, 0]
        top = np.maximum(np.maximum.accumulate(s), top_before)
        grid = np.ceil((top - self.drive.axis.start_chainage_m) / self.cell_m - 1e-6).astype(int)
        key = grid * 1000 + table[:, 1].astype(int)
        cuts = np.flatnonzero(np.diff(key)) + 1
        edges = [0, *cuts.tolist(), len(table)]
        advance = np.diff(top, prepend=top_before)
        if self.open_cell is not None:
            self.estimator.take_out(self.open_cell)
        for begin, end in pairwise(edges):
            self.open_cell = self._cell(table[begin:end], float(top[end - 1]), advance[begin:end])
            self.estimator.put(self.open_cell)
        self.open_rows = [table[edges[-2] :]]
        self.cell_top_m = float(top[edges[-2] - 1]) if edges[-2] > 0 else top_before
        self.top_m = float(top[-1])

    def _table(self, taken: list[tuple[int, dict[str, Any], float]]) -> np.ndarray:
        """(n, 12): chainage, setting number, four reduced values, distance, articulation line, level, roll,
        sequence, advance since roll was read."""
        n = len(taken)
        bodies = [body for _, body, _ in taken]
        s = np.array([t[2] for t in taken])
        sequence = np.array([t[0] for t in taken], float)
        raw = np.array(
            [[np.nan if (v := b.get(f)) is None else v for f in _FIELDS] for b in bodies], float
        ).reshape(n, _WIDTH)
        seen = np.where(
            np.isnan(raw[:, :2]), raw[:, 2:4], raw[:, :2]
        )  # the spot, or the target's own offsets
        raw[self.spot.offer_all(seen, raw[:, 4:6], s), :4] = np.nan
        for column, name in ((4, "yaw"), (5, "pitch")):
            raw[self.runs[name].offer_all(raw[:, column], s), column] = np.nan
        read = np.array([np.nan if (v := b.get("roll_deg")) is None else v for b in bodies], float)
        roll = carried(read, self.carried_roll_deg)
        self.carried_roll_deg = float(roll[-1])
        read_at = carried(np.where(np.isfinite(read), s, np.nan), self.roll_at_m)
        self.roll_at_m = float(read_at[-1])
        held = self.cylinders.take(bodies, roll, s)
        number = np.zeros(n, int)
        for i, setting in enumerate(self.known.settings):
            after = (setting.sequence < sequence) & (s >= setting.s_m - 0.1)
            number[after | (s > setting.s_m + 5e-4)] = i + 1
        values, distance = np.full((n, 4), np.nan), np.zeros(n)
        for k in np.unique(number):
            here = number == k
            reference = self.first_setting if k == 0 else self.known.settings[k - 1].reference
            measured = {name: raw[here, i] for i, name in enumerate(_FIELDS)}
            columns = Columns(chainage_m=s[here], roll_deg=roll[here], **measured)
            values[here], distance[here] = reduce(self.drive, reference, columns)
        return np.column_stack(
            [s, number, values, distance, held, roll, sequence, np.maximum(s - read_at, 0.0)]
        )

    def _cell(self, rows: np.ndarray, top: float, advance: np.ndarray) -> Cell:
        held = rows[:, 7:9]
        total = advance.sum()
        driven = advance @ held / total if total > 1e-6 else held.mean(0)
        # the setting that its measurements see: the one while advancing, or now if it only stands
        moving = advance > 1e-6
        seen = held[moving].mean(0) if moving.any() else held.mean(0)
        values = rows[:, 2:6]
        if moving.any():
            # Standing readings taken after the cylinders were set anew show a heading of the next stroke.
            anew = ~moving & (np.abs(held - seen).max(1) > 0.7)
            values = np.where(anew[:, None], np.nan, values)
        return Cell(
            s_m=top,
            key=(0, int(rows[0, 1])),
            first=int(rows[0, 10]),
            chainage_m=rows[:, 0].copy(),  # a view would keep the whole table
            values=values,
            distance_m=float(rows[:, 6].mean()),
            advance_mm_per_m=driven,
            now_mm_per_m=seen,
            station=standing_places(rows[:, 0]),
            roll_deg=float(rows[:, 9].mean()),
            roll_read_m=float(rows[:, 11].max()),
        )
