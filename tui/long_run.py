"""What a shift of many hours must not heap up."""

from __future__ import annotations

import gc

from rich.cells import cached_cell_len
from textual.geometry import Region


def tidy() -> None:
    """Forgets what Textual and rich keep of places and of texts on the screen, thousands of answers that hardly come
    again where figures change and every row sends only what differs in it; and frees what lies about until a full
    collection, which comes the more seldom the more a program holds."""
    for function in (*vars(Region).values(), cached_cell_len):
        if (forget := getattr(function, "cache_clear", None)) is not None:
            forget()
    gc.collect()
