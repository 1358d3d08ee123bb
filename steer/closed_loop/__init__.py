"""A drive steered in one process: the tool's own advice on the simulated ground, without a disk.

Practice compares with it, what-if looks with it, studies repeat it many times. `memory` is a log that
is kept in memory, `advised` the steerer that does what the tool proposes, `whole` drives a scenario to
its end, `measures` says how it went.
"""

from steer.closed_loop.advised import Advised
from steer.closed_loop.measures import Measures, joint_limits_kn, measure
from steer.closed_loop.memory import MemoryLog, drive_in_memory
from steer.closed_loop.whole import Driven, Steerer, drive_whole

__all__ = [
    "Advised",
    "Driven",
    "Measures",
    "MemoryLog",
    "Steerer",
    "drive_in_memory",
    "drive_whole",
    "joint_limits_kn",
    "measure",
]
