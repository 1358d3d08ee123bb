"""A drive seen again: each stroke as it was known then, beside it what is known now; and what if.

`moments` cuts a log into the moments at which people decided, `reel` folds the log up to one of them,
`said` puts it into words, `whatif` steers again from a chainage on, on the ground as the drive taught it, and
`compared` shows that beside the drive.
"""

from steer.replay.moments import Moment
from steer.replay.reel import Frame, Known, Reel
from steer.replay.whatif import WhatIf, changed, what_if

__all__ = ["Frame", "Known", "Moment", "Reel", "WhatIf", "changed", "what_if"]
