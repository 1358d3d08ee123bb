"""The as-built record: where the pipe lies, how sure that is, where it leaves tolerance, what its joints
suffered; and the page, tables, drawings and report made from it.

`assemble(drive)` makes the record; `page` and `record_object` show it; `outputs` writes files.
"""

from steer.asbuilt.outputs import KINDS, write
from steer.asbuilt.record import AsBuilt, assemble

__all__ = ["KINDS", "AsBuilt", "assemble", "write"]
