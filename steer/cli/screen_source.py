"""A drive as the screens ask for it (see `tui.source.Source`): one object, used by one thread."""

from __future__ import annotations

import os
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from steer.advice import Advice, Snapshot
from steer.correct.advise import joint_words
from steer.correct.own_setting import Tried, foreseen
from steer.drive import Drive
from steer.errors import FolderUnusable, InputRefused
from steer.estimate.words import WORDS
from steer.intake import drivetext
from steer.intake.stored import drive_files
from steer.log import Event

if TYPE_CHECKING:
    from steer.asbuilt.force_now import SharpestJoint
    from steer.cli import survey_view
    from steer.cli.asbuilt_view import View

_DECISIONS = ("accepted", "overridden")


class _OtherLog(FolderUnusable):
    """Another log than the one that was opened lies in its place."""

    todo = "Leave (key q) and open again."


class _Forgotten(FolderUnusable):
    """What was put away of the estimate, outside the drive, does not come back: the log was not asked, and waiting does
    not help."""

    todo = "Nothing is lost, the log holds all: leave (key q) and open again."


class ScreenSource:
    """Wraps a `Drive`; what the drive learns to do later is offered as soon as it can."""

    def __init__(self, drive: Drive) -> None:
        self.drive = drive
        self._file = drive.folder / "drive.db"
        self._identity = self._which()
        self._made_with = drive.file_now or drivetext.as_event(drive.folder, drive.file)
        self._stamps: list[object] = []
        self._file_said = ""
        self._joints: SharpestJoint | None = None
        self._told = drive.seen, ""  # by the newest snapshot
        self._opened_at = drive.seen
        self._own: set[int] = set()  # events stored here, not in another window or program

    def close(self) -> None:
        """Closes the drive."""
        self.drive.close()

    def refresh(self) -> bool:
        """Takes in what was added to the log. Raises FolderUnusable when the file is no longer there.

        An open file can be read on long after its folder was moved away; nobody writes to it then.
        """
        now = self._which()
        if self._identity is None:
            self._identity = now  # a new drive: its log is made with the first event
        elif now is None:
            raise FolderUnusable(f"{self._file}: the log is gone from its place")
        elif now != self._identity:
            raise _OtherLog(f"{self._file}: another log lies in its place")
        self._look_at_the_file()
        self.drive.refresh()
        # the drive takes in others' events when it stores, too
        return (self.drive.seen, self._file_said) != self._told

    def _look_at_the_file(self) -> None:
        """Whether the drive file is still what all of this is made with; read again only where it was touched."""
        stamps: list[object] = []
        for name in drive_files(self.drive.file):
            try:
                found = (self.drive.folder / name).stat()
            except OSError as error:
                stamps.append(error.errno)
            else:
                stamps.append((found.st_ino, found.st_size, found.st_mtime_ns, found.st_ctime_ns))
        if stamps == self._stamps:
            return
        self._stamps = stamps
        names = " or ".join(drive_files(self.drive.file))
        try:
            now = drivetext.as_event(self.drive.folder, self.drive.file)
        except FolderUnusable:
            self._file_said = f"{names} cannot be read any more: what is shown is from before."
        else:
            changed = not drivetext.same(now, self._made_with)
            self._file_said = f"{names} has changed since this was opened." if changed else ""

    def _drive_file_stands(self, what: str = "No setting can be checked") -> None:
        """Raises InputRefused where limits and tolerances may no longer be the drive's."""
        self._look_at_the_file()
        if self._file_said:
            raise InputRefused(
                f"{self._file_said} {what}: put the file back as it was, or leave (key q) and open again"
            )

    def _which(self) -> tuple[int, int] | None:
        try:
            found = self._file.stat()
        except OSError:
            return None
        return found.st_dev, found.st_ino

    def snapshot(self) -> Snapshot:
        """The drive's snapshot, with the decision that stands for the coming stroke."""
        try:
            snapshot = self._for_people(self.drive.snapshot())
        except FolderUnusable as error:
            self.drive.log.last_sequence()  # says so itself where it is the log that cannot be read
            raise _Forgotten(str(error)) from error
        self._told = self.drive.seen, self._file_said
        decision = self._decision(snapshot)
        extra: dict[str, object] = {"decision": decision, **self._foreseen(decision)}
        arrived = self.drive.last_reading_arrival
        if arrived is not None:
            extra["last_reading_arrival"] = arrived
        if self._file_said:
            extra["drive_file"] = self._file_said
        present = self.drive.follower.present
        if self.drive.follower.cylinders.unread:
            extra["cylinders_told"] = True
        elif present.cylinders_read is not None and present.cylinders_read[0] != present.sequence:
            extra["cylinders_read_m"] = present.cylinders_read[1]
        time = snapshot.last_reading_time if present.timed else None
        return replace(snapshot, extra=extra | snapshot.extra, last_reading_time=time)

    def _for_people(self, snapshot: Snapshot) -> Snapshot:
        """With what no advice says: the joints behind the face, since they take the whole path to look at, and
        readings that came in late, which a program that feeds old ones knows."""
        from steer.asbuilt.force_now import SharpestJoint
        from steer.cli.late_readings import late

        advice = snapshot.advice
        if advice is None:
            return snapshot
        self._joints = self._joints or SharpestJoint(self.drive.file)
        advice = self._joints.tell(advice, self.drive.follower, snapshot.path, self.drive.decisions)
        arrived = self.drive.last_reading_arrival
        more = late(snapshot.last_reading_time, arrived, advice.chainage_m)
        return replace(snapshot, advice=replace(advice, notices=(*advice.notices, *more)))

    def _decision(self, snapshot: Snapshot) -> dict[str, Any] | None:
        made = [event for event in self.drive.decisions if event.kind in _DECISIONS]
        if not made or snapshot.advice is None:
            return None
        body = made[-1].body
        if body.get("stroke") != snapshot.advice.stroke:
            return None
        names = ("stroke", "right_mm_per_m", "up_mm_per_m", "cylinder_mm")
        return {"kind": made[-1].kind} | {name: body.get(name) for name in names}

    def _foreseen(self, decision: dict[str, Any] | None) -> dict[str, object]:
        """What lies ahead with the own setting that stands; empty where none does."""
        if decision is None or decision["kind"] != "overridden":
            return {"own_forecast": ()}
        here = self.drive.standpoint()
        if here is None:
            return {"own_forecast": ()}
        right, up, cylinder_mm = (decision[name] for name in ("right_mm_per_m", "up_mm_per_m", "cylinder_mm"))
        found = foreseen(self.drive.file, here, right, up, cylinder_mm)
        return {
            "own_forecast": found.ahead,
            "own_joint": joint_words(found.joint),
            "own_eye_probability": found.eye_probability,
        }

    def events(self, after: int = 0) -> Iterator[Event]:
        """Events of the log above a sequence."""
        return self.drive.log.events(after=after)

    def accept(self, shown: Advice | None = None) -> object:
        """Stores that the proposal shown is taken."""
        self._drive_file_stands()
        return self._stored(self.drive.accept(shown))

    def override(
        self,
        right_mm_per_m: float,
        up_mm_per_m: float,
        shown: Advice | None = None,
        shown_mm: Sequence[float] | None = None,
        despite: Collection[str] = (),
    ) -> object:
        """Stores an own setting in place of the proposal shown, by the cylinders and beyond the limits shown for it."""
        self._drive_file_stands()
        return self._stored(self.drive.override(right_mm_per_m, up_mm_per_m, shown, shown_mm, despite))

    def note(self, text: str) -> object:
        """Stores a note."""
        return self._stored(self.drive.note(text))

    def accept_shot(self, number: int) -> object:
        """Stores a person's word that a check shot counts."""
        return self._stored(self.drive.accept_shot(number))

    def reject_shot(self, number: int) -> object:
        """Stores a person's word that a check shot holds a blunder."""
        return self._stored(self.drive.reject_shot(number))

    def withdraw_shot(self, number: int) -> object:
        """Stores that whoever gave a check shot takes it back."""
        return self._stored(self.drive.withdraw_shot(number))

    def restore_shot(self, number: int) -> str:
        """Takes the last word on a check shot back; says which, and what holds now."""
        return self._word_gone(self.drive.undo_shot(number))

    def _stored(self, event: Event) -> Event:
        self._own.add(event.sequence)
        return event

    def undo_last(self) -> str:
        """Takes the last thing done back, a decision, a note or a word on a check shot; says which, when it was done
        and whether elsewhere."""
        gone = self.drive.undo_last()
        if gone is None:
            return "Nothing stands that could be taken back."
        if gone.kind in WORDS:
            return self._word_gone(gone)
        if gone.kind == "note":
            text = str(gone.body.get("text", ""))
            note = text if len(text) <= 40 else text[:37] + "..."
            return f'The note "{note}", written {self._when(gone)}, is taken back.'
        names = {"accepted": "acceptance", "overridden": "own setting"}
        before = [
            d for d in self.drive.decisions if d.kind in names and d.body["stroke"] == gone.body["stroke"]
        ]
        again = f"; the {names[before[-1].kind]} before it stands again" if before else ""
        stroke = int(gone.body["stroke"]) + 1
        return f"The {names[gone.kind]} of stroke {stroke}, made {self._when(gone)}, is taken back{again}."

    def _word_gone(self, gone: Event) -> str:
        number = int(gone.body["shot"])
        word = self.drive.follower.words.word(number)
        now = f"is {word} again" if word else "stands as it came in"
        return f"Shot {number} {now}, no longer {WORDS[gone.kind]} as said {self._when(gone)}."

    def _when(self, event: Event) -> str:
        """When something was stored, and that it was not by this window where that is so."""
        day, clock = event.arrived[:10], event.arrived[11:16]
        at = f"at {clock} UTC" if day == datetime.now(UTC).date().isoformat() else f"at {day} {clock} UTC"
        if event.sequence in self._own:
            return at
        elsewhere = "before this window was opened"
        return f"{at} {'in another window or program' if event.sequence > self._opened_at else elsewhere}"

    def try_setting(self, right_mm_per_m: float, up_mm_per_m: float) -> Tried:
        """Looks at a setting: whole cylinder steps at the present roll, what they make, the limits it breaks."""
        self._drive_file_stands()
        return self.drive.try_setting(right_mm_per_m, up_mm_per_m)

    def asbuilt(self) -> View:
        """The as-built account. Raises InputRefused when nothing has been driven yet."""
        from steer.asbuilt.record import assemble
        from steer.cli.asbuilt_view import view

        return view(assemble(self.drive))

    def asbuilt_file(self, ending: str) -> str:
        """A name in the drive's folder that no file has yet."""
        from steer.cli.asbuilt_view import free_name

        advice = self.drive.snapshot().advice
        face_m = advice.chainage_m if advice is not None else self.drive.file.axis.start_chainage_m
        return str(free_name(self.drive.folder, face_m, ending))

    def asbuilt_writer(self, path: str) -> Callable[[], str]:
        """Takes the record of the drive as it stands; what is given writes it to a new file, in any thread, and
        says where. The name's ending says the form."""
        from steer.asbuilt.record import assemble
        from steer.cli.asbuilt_view import export

        self._drive_file_stands("Its tolerance may be another")
        record = assemble(self.drive)
        return lambda: export(record, path)

    def read_shots(self, path: str) -> str:
        """Adds check shots from a file, all or none; says what came in."""
        from steer.intake import store_shots

        accounts = store_shots(self.drive.folder, [os.path.expanduser(path)])
        return " ".join(account.line() for account in accounts)

    def holds_sights(self, path: str) -> bool:
        """Whether a file is one of total-station observations."""
        from steer.survey.files import holds_sights

        return holds_sights(path)

    def reduce_survey(self, path: str, control: str, left_out: tuple[int, ...] = ()) -> survey_view.View:
        """Adjusts a file of observations; stores nothing."""
        from steer.cli.survey_view import reduced

        return reduced(path, control, left_out)

    def store_survey(
        self, path: str, control: str, left_out: tuple[int, ...], shots: str, despite: bool
    ) -> str:
        """Stores the adjusted points that are check shots; says what came in."""
        from steer.cli.survey_view import store

        return store(self.drive.folder, path, control, left_out, shots, despite)
