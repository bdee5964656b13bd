"""One thread of its own for work that blocks on a disk.

Work runs in the order in which it was handed over, one at a time, so whatever only the worker touches needs no
lock. Knows nothing of what the work is.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

__all__ = ["Worker"]

T = TypeVar("T")


class Worker:
    """A thread and its queue. The queue is as long as the number of tasks that await an answer."""

    def __init__(self, name: str) -> None:
        self._pool = ThreadPoolExecutor(1, thread_name_prefix=name)

    async def run(self, work: Callable[[], T]) -> T:
        """What `work` returns or raises.

        A caller that is cancelled does not stop work that has begun: it ends, wholly, without a listener.
        """
        return await asyncio.get_running_loop().run_in_executor(self._pool, work)

    async def close(self) -> None:
        """Wait for everything handed over; nothing can be handed over any more."""
        await asyncio.to_thread(self._pool.shutdown)
