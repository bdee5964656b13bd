"""The event streams that are open: how many, and ending all of them at once.

Without this a shutdown would wait for clients that never hang up.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from gateway.api.faults import RequestFault

__all__ = ["Streams"]


class Streams:
    """At most `limit` streams together."""

    def __init__(self, limit: int) -> None:
        self._limit = limit
        self._open: set[asyncio.Timeout] = set()
        self._ended = False

    @property
    def count(self) -> int:
        """How many are open."""
        return len(self._open)

    def take(self) -> None:
        """Raises RequestFault when one more would be too many, or none may begin any more."""
        if self._ended or len(self._open) >= self._limit:
            raise RequestFault(
                "streams-exhausted",
                f"All {self._limit} event streams of this gateway are in use, or it is stopping.",
                remedy="Close one that is not needed, or read /api/v1/events with after= instead.",
                headers={"Retry-After": "10"},
            )

    @asynccontextmanager
    async def one(self) -> AsyncIterator[None]:
        """The life of one stream. Its body ends, without an error, when `end_all` is called."""
        self.take()
        try:
            async with asyncio.timeout(None) as scope:  # no time is measured: `end_all` makes it due
                self._open.add(scope)
                try:
                    yield
                finally:
                    self._open.discard(scope)
        except TimeoutError:
            if not self._ended:
                raise

    def end_all(self) -> None:
        """End every stream now and let none begin."""
        self._ended = True
        for scope in self._open:
            scope.reschedule(0.0)
