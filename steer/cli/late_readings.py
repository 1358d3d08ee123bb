"""Readings that say of themselves that they are old when they come in, as those of a file do."""

from __future__ import annotations

from datetime import UTC, datetime

from steer.advice import Notice

LATE_S = 900.0  # what a logger hands over at the end of a stroke is younger
CODE = "readings_late"


def late(said: str | None, arrived: str | None, chainage_m: float) -> tuple[Notice, ...]:
    """What to say where the newest reading's own time, ISO 8601 and UTC unless it says otherwise, lies further before
    its arrival in the log than any logger takes. Nothing where either is not told."""
    if said is None or arrived is None:
        return ()
    age_s = (_stamp(arrived) - _stamp(said)).total_seconds()
    if age_s <= LATE_S:
        return ()
    age = f"{age_s / 60:.0f} min" if age_s < 7200 else f"{age_s / 3600:.0f} h" if age_s < 172800 else (
        f"{age_s / 86400:.0f} days"
    )  # fmt: skip
    text = (
        f"The newest reading was taken {age} before it came in, by its own clock: what is shown is as old as that. "
        "If it is not, set the logger's clock."
    )
    return (Notice(CODE, text, chainage_m),)


def _stamp(text: str) -> datetime:
    found = datetime.fromisoformat(text)
    return found if found.tzinfo is not None else found.replace(tzinfo=UTC)
