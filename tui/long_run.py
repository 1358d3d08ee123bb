"""What a shift of many hours must not heap up."""

from __future__ import annotations

import gc
import math
from collections.abc import Callable

from rich.cells import cached_cell_len
from textual.geometry import Region

AGAIN_S = 5.0


class Tidied:
    """When it was done last: once a stroke, and not at each step through a drive that is replayed."""

    def __init__(self, steady: Callable[[], float]) -> None:
        self._steady, self._stroke, self._when = steady, 0, -math.inf

    def due(self, stroke: int) -> bool:
        """Whether it is to be done now, in this stroke."""
        if stroke == self._stroke or self._steady() - self._when <= AGAIN_S:
            return False
        self._stroke, self._when = stroke, self._steady()
        return True


def tidy() -> None:
    """Forgets what Textual and rich keep of places and of texts on the screen, thousands of answers that hardly come
    again where figures change and every row sends only what differs in it; and frees what lies about until a full
    collection, which comes the more seldom the more a program holds."""
    for function in (*vars(Region).values(), cached_cell_len):
        if (forget := getattr(function, "cache_clear", None)) is not None:
            forget()
    gc.collect()
