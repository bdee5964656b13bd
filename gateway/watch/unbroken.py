"""Work that must be known to have ended, even when whoever waits for it is cancelled.

A commit that is cancelled half-way may or may not be durable; taking it for lost would tell its events twice. So
the cancellation waits until the commit has ended, and goes on then.
"""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine
from typing import Any, TypeVar

__all__ = ["unbroken"]

T = TypeVar("T")


async def unbroken(work: Coroutine[Any, Any, T]) -> tuple[T, asyncio.CancelledError | None]:
    """The result of `work`, and the cancellation that came meanwhile: the caller raises it when its own books are
    in order. What `work` raises is raised, unless a cancellation came: then that is."""
    cancelled: asyncio.CancelledError | None = None
    task = asyncio.ensure_future(work)
    while not task.done():
        try:
            await asyncio.wait([task])
        except asyncio.CancelledError as cancellation:
            cancelled = cancellation
    if cancelled is not None and task.exception() is not None:
        raise cancelled from task.exception()
    return task.result(), cancelled
