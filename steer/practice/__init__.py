"""Practice: a person steers the simulated ground; what comes of it is a normal drive folder.

`session` drives stroke by stroke and stores what happens, `showing` hides the proposal when that is the
exercise, `debrief` compares with the proposals followed and with about the best that can be done.
"""

from steer.practice.debrief import Debrief, debrief, report
from steer.practice.session import PROPOSAL, Session, preset_named

__all__ = ["PROPOSAL", "Debrief", "Session", "debrief", "preset_named", "report"]
