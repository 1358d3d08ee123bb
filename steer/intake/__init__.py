"""What comes in: readings, check shots and the feed's lines, checked before they reach the log.

One table reader and one set of checks stand behind files and feed alike. A file is taken whole or refused
whole, with every bad value named.
"""

from steer.intake.files import Stored, store_readings, store_shots
from steer.intake.records import (
    check_shot_from_json,
    object_from_line,
    reading_from_json,
    reference_set_from_json,
    stroke_end_from_json,
)

__all__ = [
    "Stored",
    "check_shot_from_json",
    "object_from_line",
    "reading_from_json",
    "reference_set_from_json",
    "store_readings",
    "store_shots",
    "stroke_end_from_json",
]
