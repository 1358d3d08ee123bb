"""The two steerers that ours is measured against, from the practice ground: a practised operator's rule of
thumb, and a controller that is told the truth. Both keep the machine's limits and round to the cylinders'
step, as ours must.
"""

from steer.ground.informed import Informed
from steer.ground.operator import RuleOfThumb

__all__ = ["Informed", "RuleOfThumb"]
