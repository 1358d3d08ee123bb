"""A drive: what people decide on it, and what it says now.

Everything but the log is a pure function of drive.toml and the log's events, so the same folder gives
the same advice whoever asks.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np

from steer import decisions
from steer.advice import Advice, ShotView, Snapshot
from steer.checkshots.report import SurveyReport, survey_report
from steer.checkshots.views import shot_views
from steer.correct.advise import make_advice
from steer.correct.own_setting import Standpoint, Tried, looked_ahead, try_setting
from steer.drivefile import DriveFile
from steer.errors import InputRefused
from steer.estimate.counter import answers, changes_nothing
from steer.estimate.estimator import without
from steer.estimate.health import examine
from steer.estimate.nodes import Node
from steer.estimate.possible import Possible, possible_paths
from steer.estimate.shots import Shot
from steer.estimate.smoother import SmoothedPath, Smoother, smooth
from steer.estimate.sureness import next_survey
from steer.estimate.words import TAKEN_BACK, WORDS
from steer.log import Event, Log
from steer.opened import Opened
from steer.snapshot import snapshot

_MOST_TRIES = 3  # to make an advice while others store events


class Drive(Opened):
    """One drive. Make it with `Drive.open`; a context manager, or `close()` it.

    Raises FolderUnusable (exit 3) for a folder, drive file or log that cannot be used.
    """

    def __init__(self, folder: Path, file: DriveFile, log: Log) -> None:
        super().__init__(folder, file, log)
        self.more: Callable[[Drive, Advice], Advice] | None = (
            None  # says at a stroke's end what no advice does
        )
        self._advice: tuple[int, Advice | None] | None = None
        self._smoother = Smoother()
        self._smoothed: tuple[int, SmoothedPath] | None = None

    # ---- what people decide

    def set_counter(
        self, add_m: float, from_event: int | None = None, note: str | None = None
    ) -> list[Event]:
        """A person says what the chainage counter lacks, m, from an event on; None: where it jumped, as long as
        nobody has said anything of that, else for readings still to come (`steer.estimate.counter`). Refused where
        that would change nothing."""

        def decided() -> list[tuple[str, dict[str, Any]]]:
            self.refresh()
            node = self._present()
            face_m = float(node.s_m) if node else -np.inf
            since = self.seen + 1 if from_event is None else from_event
            if changes_nothing(self.follower, face_m, since, add_m):
                raise InputRefused(
                    f"add_m {add_m:g}: so the counter's chainage is taken already from event {since} on, and no jump waits "
                    "for a word, so nothing would change; allowed is another number of m"
                )
            if from_event is not None:
                bodies: list[dict[str, Any]] = [{"add_m": add_m, "from_sequence": from_event}]
            else:
                bodies = answers(self.follower, face_m, add_m)
            more = {} if note is None else {"note": note}
            return [item for body in bodies for item in self._with_file("chainage_set", body | more)]

        events = self.log.append_decided(decided)
        self._take_stored(events)
        return events

    def accept(self, looked_at: Advice | None = None) -> Event:
        """The crew sets what is proposed (None: now); refused where that has changed or was accepted meanwhile."""
        shown, seen = decisions.proposed(looked_at or self._proposal()), self.seen

        def decided() -> list[tuple[str, dict[str, Any]]]:
            self.refresh()
            now = decisions.proposed(self._proposal())
            return self._with_file("accepted", decisions.may_accept(shown, now, self.decisions, seen))

        return self._take_stored(self.log.append_decided(decided))

    def try_setting(self, right_mm_per_m: float, up_mm_per_m: float) -> Tried:
        """Look at an articulation (mm/m) of the crew's own without storing it."""
        advice, here = self._proposal(), self.standpoint()
        assert here is not None  # there is a proposal
        tried = try_setting(self.file.machine, advice, right_mm_per_m, up_mm_per_m)
        return looked_ahead(self.file, here, advice, tried)

    def override(
        self,
        right_mm_per_m: float,
        up_mm_per_m: float,
        looked_at: Advice | None = None,
        shown_mm: Sequence[float] | None = None,
        despite: Collection[str] = (),
    ) -> Event:
        """The crew sets another articulation (mm/m); refused where the machine cannot be set so, beyond a limit whose
        code is not in `despite`, where the stroke that it was looked at for (None: now) has ended meanwhile, or other
        cylinders (N,) than `shown_mm` make it by now."""
        stroke = (looked_at or self._proposal()).stroke

        def decided() -> list[tuple[str, dict[str, Any]]]:
            self.refresh()
            advice = self._proposal()
            tried = self.try_setting(right_mm_per_m, up_mm_per_m)
            decisions.may_override(stroke, advice.stroke, tried, shown_mm, despite)
            made = tried.right_mm_per_m, tried.up_mm_per_m, list(tried.cylinder_mm)
            return self._with_file("overridden", decisions.decided_on(advice, *made, tried.beyond))

        return self._take_stored(self.log.append_decided(decided))

    def note(self, text: str) -> Event:
        """A note at this chainage."""
        return self.add("note", {"chainage_m": self.follower.top_m, "text": text})

    def undo_last(self) -> Event | None:
        """Take back the last thing done that stands, a decision, a note or a word on a check shot, and answer it; None
        when there is none. Refused once a decision's stroke is driven: what was set then can no longer be set otherwise."""
        found: list[Event] = []

        def decided() -> list[tuple[str, dict[str, Any]]]:
            self.refresh()
            self.follower.bring_up()
            told = self.told
            last = decisions.to_undo(
                self.decisions, self.follower.words.last(), told.stroke_number(), told.ended.last_sequence
            )
            if last is None:
                return []
            found.append(last)
            return self._with_file(*decisions.taking_back(last))

        events = self.log.append_decided(decided)
        if events:
            self._take_stored(events)
        return found[-1] if events else None

    def _proposal(self) -> Advice:
        advice = self.advice()
        if advice is None:
            raise InputRefused("no correction is proposed yet: no reading has come in")
        return advice

    # ---- what it says

    def stroke_end(self, chainage_m: float, **more: Any) -> Advice:
        """Store the end of a stroke (and its `time` or `note`), answer it, and store what was advised.

        A stroke's end that comes again with nothing driven since (a client that was cut off before it
        had its answer) is answered again and counted once.
        """
        again = self.told.end_m is not None and abs(self.told.end_m - chainage_m) < 1e-3
        if not again:
            self.add("stroke_end", {"chainage_m": chainage_m, **more})
        if again and self.told.end_answered:
            return self._answer()
        for tries in range(_MOST_TRIES + 1):
            self._answer()  # before the log is held, since it takes the longest
            events = self.log.append_decided(partial(self._what_is_advised, last=tries == _MOST_TRIES))
            if events:
                plain, answer = self.advice(), self._answer()
                self._take_stored(events)
                self._advice = (self.seen, plain)
                return answer
            self.refresh()
        raise AssertionError("the last try always stores")

    def _answer(self) -> Advice:
        advice = self.advice()
        assert advice is not None  # a stroke's end alone is enough for one
        return advice if self.more is None else self.more(self, advice)

    def _what_is_advised(self, last: bool) -> list[tuple[str, dict[str, Any]]]:
        """The advised event, asked for while nobody else can store. It follows from the events before it in the
        log, all of them: when a shot came in from elsewhere meanwhile there is none, and the advice is made
        again; the `last` time at once, so that no busy neighbour can put it off for ever."""
        if self.log.last_sequence() != self.seen:
            if not last:
                return []
            self.refresh()
        return self._with_file("advised", decisions.advised(self._answer()))

    def advice(self) -> Advice | None:
        """Estimate and correction now; None before the first reading and stroke's end."""
        if self._advice is None or self._advice[0] != self.seen:
            self._advice = (self.seen, self._advise())
        return self._advice[1]

    def standpoint(self) -> Standpoint | None:
        """What a proposal is made from; None before the first reading."""
        node = self._present()
        advised = self.told.advised_before(self.told.stroke_number())
        return None if node is None else Standpoint.of(self.follower, node, advised)

    def _advise(self) -> Advice | None:
        here, follower = self.standpoint(), self.follower
        if here is None:
            return None
        health = examine(follower, here.node, *self.told.ended.last_two_m(follower.known.counter))
        # what is foretold takes the reference to be where it is believed: a finding that it may not be asks at once
        survey_m = (
            here.node.s_m if health.survey_asked else next_survey(here.node, here.estimator, health.unseen)
        )
        return make_advice(
            self.file, here.estimator, here.node, self.told.stroke_number(), here.now_mm, here.roll_deg, health.notices,
            opposite=health.opposite, trusted=health.trusted and not health.opposite,
            next_survey_m=survey_m, advised=here.advised, told_mm=here.told_mm,
            force=follower.newest_force(),
        )  # fmt: skip

    def _present(self) -> Node | None:
        """The newest state, carried to the end of the stroke; None before the first reading."""
        follower = self.follower
        follower.bring_up()
        if not follower.track.accepted and self.stroke_end_m is None:
            return None
        node = follower.node(self.stroke_end_m if not follower.track.accepted else None)
        if self.stroke_end_m is not None and self.stroke_end_m > node.s_m:
            node = follower.estimator.ahead(node, self.stroke_end_m, follower.cylinders.articulation)
        return node

    def smoothed(self) -> SmoothedPath:
        """The path as driven, with all knowledge."""
        if self._smoothed is None or self._smoothed[0] != self.seen:
            self.follower.bring_up()
            self._smoothed = (self.seen, self._smoother.path(self.follower.estimator))
        return self._smoothed[1]

    def path_without_pipe_surveys(self) -> SmoothedPath:
        """The path as driven from all but the surveys of laid pipes: what those can be held against."""
        self.follower.bring_up()
        other = without(self.follower.estimator, lambda item: isinstance(item, Shot) and item.point == "pipe")
        return self.smoothed() if other is None else smooth(other)

    def possible_paths(self) -> Possible:
        """Paths that the log leaves possible, and where the ground's push jumped."""
        self.follower.bring_up()
        return possible_paths(self.follower.estimator)

    def shots(self) -> tuple[ShotView, ...]:
        """The check shots as the estimate took them, by chainage."""
        self.follower.bring_up()
        return shot_views(self.follower.estimator)

    def shot_report(self, numbers: Collection[int] | None = None) -> SurveyReport:
        """What check shots say (None: all of them): verdicts, what moved, the reference, the next survey.

        `steer.checkshots.report.lines` puts it in words."""
        advice = self.advice()
        next_m = None if advice is None else advice.next_survey_m
        return survey_report(self.follower, self._present(), numbers, next_m)

    def accept_shot(self, number: int) -> Event:
        """A person says that this check shot counts, whatever it says."""
        return self.say_of_shots([("shot_accepted", number)])

    def reject_shot(self, number: int) -> Event:
        """A person says that this check shot holds a blunder: it does not count."""
        return self.say_of_shots([("shot_rejected", number)])

    def withdraw_shot(self, number: int) -> Event:
        """Whoever gave this check shot takes it back: as if it had never been given."""
        return self.say_of_shots([("withdrawn", number)])

    def say_of_shots(self, said: Sequence[tuple[str, int]]) -> Event:
        """Store people's words on check shots, (kind of event, shot) each, all of them or none; the last is answered.
        TAKEN_BACK takes back the newest word on its shot. InputRefused where there is no such shot, or the word changes
        nothing of what anybody has said by now."""

        def decided() -> list[tuple[str, dict[str, Any]]]:
            self.refresh()
            words = self._words()
            for kind, number in said:
                decisions.may_say(words, number, WORDS.get(kind))
            last = self.follower.words.last
            events = [
                decisions.taking_back(last(number)) if kind == TAKEN_BACK else (kind, {"shot": number})
                for kind, number in said
            ]
            return [item for event in events for item in self._with_file(*event)]

        return self._take_stored(self.log.append_decided(decided))

    def undo_shot(self, number: int) -> Event:
        """Take back the last word on this check shot, and answer it: the word before it holds again, if there is one."""
        found: list[Event] = []

        def decided() -> list[tuple[str, dict[str, Any]]]:
            self.refresh()
            decisions.may_say(self._words(), number, None)
            found.append(self.follower.words.last(number))
            return self._with_file(*decisions.taking_back(found[-1]))

        self._take_stored(self.log.append_decided(decided))
        return found[-1]

    def _words(self) -> dict[int, str | None]:
        return {number: shot.word for number, shot in self.follower.shots.items()}

    def snapshot(self) -> Snapshot:
        """All that a screen needs, at one moment."""
        advice = self.advice()
        return snapshot(self.file, self.told, self._present(), advice, self.smoothed())
