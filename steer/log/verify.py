"""Is the log whole? Re-computes the chain of hashes from the first event.

What the chain shows: no event was changed, dropped, put in or put in another order, unless somebody wrote the
whole chain anew from there on. Against that helps the last hash, noted somewhere else (on the shift report).
"""

from __future__ import annotations

from dataclasses import dataclass, field

from steer.log.event import chain
from steer.log.store import Log
from steer.text import printable


@dataclass
class Verdict:
    """What was found. `head` is the last event's hash in hexadecimal, `programs` the first and last
    sequence and the number of events that each version of the program wrote."""

    events: int = 0
    head: str = ""
    faults: list[str] = field(default_factory=list)
    programs: dict[str, tuple[int, int, int]] = field(default_factory=dict)

    @property
    def whole(self) -> bool:
        """Whether nothing is wrong."""
        return not self.faults


def verify(log: Log) -> Verdict:
    """Examine a log up to its newest event. Raises FolderUnusable when it cannot be read at all."""
    verdict = Verdict(faults=log.faults())
    previous = log.origin()
    if previous is None:
        return verdict
    expected, broken = 1, False
    for sequence, arrived, program, kind, body, stored in log.raw(upto=log.last_sequence()):
        if sequence != expected and not broken:
            verdict.faults.append(f"event {expected} is missing")
            broken = True
        expected = sequence + 1
        digest = chain(previous, sequence, arrived, program, kind, body)
        if digest != stored and not broken:
            verdict.faults.append(
                f"event {sequence} ({printable(arrived, 40)}) or the one before it is not as it was written: "
                "its hash does not fit"
            )
            broken = True
        previous = bytes(stored) if isinstance(stored, bytes) else digest
        verdict.events += 1
        first, _, count = verdict.programs.get(str(program), (sequence, 0, 0))
        verdict.programs[str(program)] = (first, sequence, count + 1)
    verdict.head = previous.hex() if verdict.events else ""
    return verdict
