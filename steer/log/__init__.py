"""The log: an append-only list of events on disk, the only state a drive has.

Everything else is a function of `drive.toml` and these events, so the same log gives the same advice
today and in ten years. Other rooms use `Log` and `Event`, nothing below them.
"""

from steer.log.event import Event
from steer.log.store import LOG_NAME, Log

__all__ = ["LOG_NAME", "Event", "Log"]
