"""Practice ground: a simulated drive whose physics is written down (`bodies`), with guidance that errs
(`instruments`).

Every parameter is invented: it is ground to practise and test on, no prediction for a site.
"""

from steer.ground.draw import draw_scenario
from steer.ground.scenario import CheckShots, Fault, Ground, Guidance, Scenario, Stretch
from steer.ground.simulator import Simulation, Truth

__all__ = [
    "CheckShots",
    "Fault",
    "Ground",
    "Guidance",
    "Scenario",
    "Simulation",
    "Stretch",
    "Truth",
    "draw_scenario",
]
