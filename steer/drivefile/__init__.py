"""The drive file, DRIVE/drive.toml: what it says, as frozen records, or everything wrong with it.

`load_drive(folder)` reads it. `parse_drive(text)` reads its text. `TEMPLATE` is a file to fill in.
"""

from steer.drivefile.load import DriveFile, DriveFileWrong, load_drive, parse_drive
from steer.drivefile.sections import (
    AxisElements,
    AxisFromLandXml,
    CylindersSection,
    MachineSection,
    PipeSection,
    ReferenceSection,
    SdSection,
    TargetSection,
    ToleranceSection,
)
from steer.drivefile.template import FILE_NAME, TEMPLATE

__all__ = [
    "FILE_NAME",
    "TEMPLATE",
    "AxisElements",
    "AxisFromLandXml",
    "CylindersSection",
    "DriveFile",
    "DriveFileWrong",
    "MachineSection",
    "PipeSection",
    "ReferenceSection",
    "SdSection",
    "TargetSection",
    "ToleranceSection",
    "load_drive",
    "parse_drive",
]
