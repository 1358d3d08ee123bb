"""What people may still decide, asked for while nobody else can store."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from steer.errors import InputRefused
from steer.estimate.words import TAKEN_BACK, WORDS

if TYPE_CHECKING:
    from steer.advice import Advice
    from steer.correct.own_setting import Limit, Tried
    from steer.log import Event

_SAME_MM = 0.05  # cylinders nearer than that are one setting: no finer one can be made


def same_setting(one_mm: Sequence[float], other_mm: Sequence[float]) -> bool:
    """Whether two lists of extensions (N,) mm are one setting of the cylinders."""
    return len(one_mm) == len(other_mm) and all(
        abs(a - b) < _SAME_MM for a, b in zip(one_mm, other_mm, strict=True)
    )


def proposed(advice: Advice) -> dict[str, Any]:
    """What the log keeps of a proposal."""
    c = advice.correction
    return decided_on(advice, c.right_mm_per_m, c.up_mm_per_m, list(c.cylinder_mm))


def advised(advice: Advice) -> dict[str, Any]:
    """What the log keeps of an answer at a stroke's end."""
    codes = {"notices": list(dict.fromkeys(n.code for n in advice.notices))} if advice.notices else {}
    return proposed(advice) | {"hold": advice.correction.hold} | codes


def decided_on(
    advice: Advice, right: float, up: float, cylinder_mm: list[float], beyond: Sequence[Limit] = ()
) -> dict[str, Any]:
    """What the log keeps of an articulation (mm/m) chosen at the stroke of `advice`, of its cylinders (N,) mm and of the
    limits that it passes."""
    passed = {"beyond": [limit.code for limit in beyond]} if beyond else {}
    return passed | {
        "stroke": advice.stroke, "chainage_m": advice.chainage_m, "right_mm_per_m": right,
        "up_mm_per_m": up, "cylinder_mm": cylinder_mm,
    }  # fmt: skip


def may_accept(
    shown: dict[str, Any], now: dict[str, Any], decisions: Sequence[Event], seen: int
) -> dict[str, Any]:
    """`now`, the body of the acceptance to store. Raises InputRefused when the proposal is no longer the one
    `shown` to who accepts it, or was accepted already. `decisions` that stand, oldest first; those after the
    sequence `seen` came in from elsewhere meanwhile."""
    stroke = int(shown["stroke"]) + 1
    if now["stroke"] != shown["stroke"] or not same_setting(now["cylinder_mm"], shown["cylinder_mm"]):
        raise InputRefused(
            f"the proposal for stroke {stroke} has changed just now: look at the new one first"
        )
    for event in [event for event in decisions if event.kind in ("accepted", "overridden")][-1:]:
        same = event.body["stroke"] == now["stroke"] and event.kind == "accepted"
        if same and same_setting(event.body["cylinder_mm"], now["cylinder_mm"]):
            when = f" at {event.arrived[11:19]} UTC" if event.arrived else ""
            who = ", in another window or program" if event.sequence > seen else ""
            raise InputRefused(f"stroke {stroke} was accepted already{when}{who}")
    return now


def not_coming(shown_stroke: int, now_stroke: int) -> str:
    """That another stroke than the one shown is coming: it has ended, or a counter put right has strokes counted anew.
    Both numbers as in an advice, of the stroke before."""
    return f"the coming stroke is {now_stroke + 1} by now, not {shown_stroke + 1}"


def may_override(
    shown_stroke: int,
    now_stroke: int,
    tried: Tried,
    shown_mm: Sequence[float] | None,
    despite: Collection[str],
) -> None:
    """Raises InputRefused when an own setting was looked at for another stroke than the coming one, cannot be set or
    passes a limit whose code is not in `despite`, or when other cylinders (N,) mm make it now than were shown for it
    (None: none)."""
    if shown_stroke != now_stroke:
        raise InputRefused(f"{not_coming(shown_stroke, now_stroke)}: look at its proposal first")
    against = [*tried.problems, *(limit.text for limit in tried.beyond if limit.code not in despite)]
    if against:
        raise InputRefused(against)
    if shown_mm is not None and not same_setting(shown_mm, tried.cylinder_mm):
        raise InputRefused("other cylinders make this setting by now: look at them first")


def to_undo(decisions: Sequence[Event], word: Event | None, stroke: int, ended: int) -> Event | None:
    """The newest of the decisions that stand, None without one; or the newest `word` on a check shot that stands, where
    it came after them and after the newest stroke's end. Raises InputRefused when a decision's stroke has been driven:
    the newest to have ended is `stroke`, by the event `ended`."""
    if word is not None and word.sequence > max([ended, *(d.sequence for d in decisions)]):
        return word
    if not decisions:
        return None
    last = decisions[-1]
    if last.kind == "note":
        if last.sequence < ended:
            raise InputRefused(
                "nothing was decided or noted since the last stroke: what is older stays in the log"
            )
    elif int(last.body["stroke"]) != stroke:
        raise InputRefused(
            f"nothing was decided for stroke {stroke + 1} yet, and stroke {int(last.body['stroke']) + 1} is driven: what "
            "was set for it stays in the log"
        )
    return last


def taking_back(event: Event) -> tuple[str, dict[str, Any]]:
    """Kind and body of the event that takes this one back."""
    if event.kind in WORDS:
        return TAKEN_BACK, {"shot": event.body["shot"], "event": event.sequence}
    return "undone", {"event": event.sequence}


def shot_known(words: Mapping[int, str | None], number: int) -> None:
    """Raises InputRefused when there is no check shot of this number; `words` as `may_say` takes them."""
    if number not in words:
        some = ", ".join(map(str, sorted(words)[-8:])) if words else "there are none"
        raise InputRefused(f"check shot {number}: no such shot; the newest are: {some}")


def may_say(words: Mapping[int, str | None], number: int, word: str | None) -> None:
    """Raises InputRefused when `word` (None: what was said is taken back) changes nothing of a check shot, or there is
    no such shot; `words` holds what people have said of each (None: nothing)."""
    shot_known(words, number)
    if words[number] != word:
        return
    if word is None:
        raise InputRefused(
            f"check shot {number}: it is neither accepted, rejected nor withdrawn: there is nothing to take back"
        )
    raise InputRefused(f"check shot {number}: is {word} already")
