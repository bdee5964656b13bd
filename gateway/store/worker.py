"""One thread of its own for work that blocks on a disk.

Work runs in the order in which it was handed over, one at a time, so whatever only the worker touches needs no
lock. Knows nothing of what the work is.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from gateway.errors import StoreUnavailable

__all__ = ["Worker"]

T = TypeVar("T")


class Worker:
    """A thread and its queue. The queue is as long as the number of tasks that await an answer."""

    def __init__(self, name: str) -> None:
        self._pool = ThreadPoolExecutor(1, thread_name_prefix=name)
        self._closed = False

    async def run(self, work: Callable[[], T]) -> T:
        """What `work` returns or raises.

        A caller that is cancelled does not stop work that has begun: it ends, wholly, without a listener.
        Raises StoreUnavailable after `close`.
        """
        if self._closed:
            raise StoreUnavailable("The store is closed: the gateway is stopping.", remedy="Try again after its start.")
        return await asyncio.get_running_loop().run_in_executor(self._pool, work)

    async def close(self, last: Callable[[], None] = lambda: None) -> None:
        """Do `last` after everything handed over, and take nothing more. May be called twice."""
        if not self._closed:
            self._closed = True
            await asyncio.get_running_loop().run_in_executor(self._pool, last)
        await asyncio.to_thread(self._pool.shutdown)
