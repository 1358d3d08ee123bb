"""Whether a shot's chainage and time can be true, by the readings. Nothing is refused here but the future."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from steer.estimate.shots import REACHED_M
from steer.log import Event

_CLOCKS = timedelta(days=1)  # clocks of site and instrument may differ by that, and nobody is told
_APART_M = 3.0  # where the face stood at a shot's time, against the chainage the shot tells
_MOST = 5


@dataclass(frozen=True)
class Progress:
    """How far the face had come when, from readings that tell a time; `top_m` of all of them."""

    times: tuple[datetime, ...]
    faces_m: tuple[float, ...]
    top_m: float | None


def progress(events: Iterable[Event]) -> Progress:
    """Collect it from the log's readings; a time that goes back is left out."""
    times: list[datetime] = []
    faces: list[float] = []
    top: float | None = None
    for event in events:
        if event.kind not in ("reading", "stroke_end"):
            continue
        s = float(event.body["chainage_m"])
        top = s if top is None else max(top, s)
        text = event.body.get("time")
        if text is None:
            continue
        at = datetime.fromisoformat(str(text))
        if not times or at > times[-1]:
            times.append(at)
            faces.append(top)
    return Progress(tuple(times), tuple(faces), top)


def future(bodies: Sequence[Mapping[str, Any]], known: Progress, now: datetime) -> list[str]:
    """Problems: shots later than both the newest reading and the clock by more than a day.

    Without a reading that tells a time there is nothing to hold them against, and nothing is said."""
    if not known.times:
        return []
    latest = max(now, known.times[-1]) + _CLOCKS
    found = []
    for body in bodies:
        if body.get("time") is not None and datetime.fromisoformat(str(body["time"])) > latest:
            found.append(
                f"the shot of {body['time']} lies in the future: the newest reading is of "
                f"{known.times[-1].isoformat().replace('+00:00', 'Z')}, and the clock is not there yet"
            )
    return _cut(found)


def doubts(bodies: Sequence[Mapping[str, Any]], known: Progress) -> list[str]:
    """Remarks: a chainage not driven yet, and one where the face did not stand at the shot's time."""
    found = []
    for body in bodies:
        s = body.get("chainage_m")
        if s is None:
            continue
        if known.top_m is not None and s > known.top_m + REACHED_M:
            found.append(
                f"the shot at {s:.2f} m: the face has only come to {known.top_m:.2f} m; it counts when the "
                "readings get there (or its chainage is wrong)"
            )
            continue
        if body.get("time") is None or not known.times or body.get("point") == "pipe":
            continue
        k = bisect_left(known.times, datetime.fromisoformat(str(body["time"])))
        stood = known.faces_m[min(k, len(known.times) - 1)]
        if abs(stood - s) > _APART_M and k > 0:
            found.append(
                f"the shot at {s:.2f} m, taken {body['time']}: by the readings the face stood at "
                f"{stood:.2f} m then; is the chainage right?"
            )
    return _cut(found)


def _cut(found: list[str]) -> list[str]:
    return found if len(found) <= _MOST else [*found[:_MOST], f"and {len(found) - _MOST} more of the kind"]
