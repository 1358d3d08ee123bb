"""The one thread that touches the drive: a database connection stays with its thread, and a slow
disk never stops the keys."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TypeVar

Result = TypeVar("Result")


class Desk:
    """Runs calls one after another in its own thread."""

    def __init__(self) -> None:
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="drive")

    def start(self, work: Callable[[], Result]) -> Future[Result]:
        """Hands work over; the future gives its result or raises what it raised."""
        return self._pool.submit(work)

    async def do(self, work: Callable[[], Result]) -> Result:
        """Waits for work without holding up the screen."""
        return await asyncio.wrap_future(self._pool.submit(work))

    def close(self) -> None:
        """Lets the work at hand finish and takes no more."""
        self._pool.shutdown(wait=True, cancel_futures=True)
