"""The pipe string: joint angles from the path, what force its joints may carry, friction and forecast.

It advises; permissible forces come from drive.toml's own figures and a linear packer. The pipe
manufacturer's data, the project specification and the responsible engineer decide.
"""

from steer.pipes.cost import KinkCost, kink_cost
from steer.pipes.force import (
    AFTER_A_STOP,
    ForceForecast,
    LimitReached,
    StrokeForces,
    face_share_kn,
    forecast_force,
    limit_reached,
    stroke_forces,
)
from steer.pipes.friction import LUBRICATED_KPA, USUAL_KPA, Stretch, stretches, theil_sen
from steer.pipes.joints import JointAngles, joint_angles, string_joints
from steer.pipes.ring import RingJoint

__all__ = [
    "AFTER_A_STOP",
    "LUBRICATED_KPA",
    "USUAL_KPA",
    "ForceForecast",
    "JointAngles",
    "KinkCost",
    "LimitReached",
    "RingJoint",
    "Stretch",
    "StrokeForces",
    "face_share_kn",
    "forecast_force",
    "joint_angles",
    "kink_cost",
    "limit_reached",
    "stretches",
    "string_joints",
    "stroke_forces",
    "theil_sen",
]
