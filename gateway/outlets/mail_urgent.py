"""Whether anything that waits is urgent, however much waits before it.

A mail takes so many events, and a night may hold more than that back: what is urgent behind them must be seen all the
same. What was looked through once is not looked through again.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from gateway.domain.events import Event
from gateway.errors import StoreError
from gateway.ports import Journal

__all__ = ["UrgentLook"]

_PAGE = 200


class UrgentLook:
    """`urgent` says it of one event."""

    def __init__(self, journal: Journal, urgent: Callable[[Event], bool], batch: int) -> None:
        self._journal = journal
        self._urgent = urgent
        self._batch = batch
        self._looked_to = 0
        self._found = 0

    async def presses(self, events: Sequence[Event]) -> bool:
        """Whether one of these is urgent, or one behind them where these are all that a mail takes."""
        if any(map(self._urgent, events)):
            return True
        return len(events) >= self._batch and await self._behind(events[-1].id.number)

    async def _behind(self, number: int) -> bool:
        if self._found > number:
            return True
        after = max(number, self._looked_to)
        try:
            while page := await self._journal.read(after, limit=_PAGE):
                self._found = next((event.id.number for event in page if self._urgent(event)), 0)
                if self._found:
                    return True
                self._looked_to = after = page[-1].id.number
        except StoreError:
            return False  # it is looked again soon
        return False
