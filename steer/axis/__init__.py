"""The design axis of the pipe: built from a drive file or LandXML, asked by chainage or by point."""

from steer.axis.axis import Axis, AxisError, AxisPoint
from steer.axis.foot import Located
from steer.axis.landxml_in import axis_from_landxml
from steer.axis.spec import axis_from_spec

__all__ = ["Axis", "AxisError", "AxisPoint", "Located", "axis_from_landxml", "axis_from_spec"]
