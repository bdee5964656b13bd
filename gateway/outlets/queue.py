"""What of the journal one outlet has still before it: read by pages behind a cursor, kept as far as it is wanted.

The journal is the queue: nothing is copied, and at most a page and a batch are in memory. What the outlet does not
want is passed over at once. Knows nothing of delivering.
"""

from __future__ import annotations

from collections import deque

from gateway.domain.events import Event
from gateway.ports import Journal, Outlet

__all__ = ["Queue"]

_PAGE = 200


class Queue:
    """Begins behind `cursor`. `turn` rises with each `seek`: what was begun before it no longer counts."""

    def __init__(self, outlet: Outlet, journal: Journal, cursor: int) -> None:
        self._outlet = outlet
        self._journal = journal
        self._wanted: deque[Event] = deque()
        self.scanned = cursor
        self.turn = 0

    @property
    def cursor(self) -> int:
        """The number up to which everything is done with."""
        return self._wanted[0].id.number - 1 if self._wanted else self.scanned

    @property
    def head(self) -> Event | None:
        """The event whose turn it is."""
        return self._wanted[0] if self._wanted else None

    def batch(self) -> tuple[Event, ...]:
        """The events that one delivery takes."""
        return tuple(event for event, _ in zip(self._wanted, range(self._outlet.batch), strict=False))

    def done(self, number: int) -> None:
        """Everything up to this number has been dealt with."""
        while self._wanted and self._wanted[0].id.number <= number:
            self._wanted.popleft()

    def seek(self, cursor: int) -> None:
        """Begin anew behind this number."""
        self._wanted.clear()
        self.scanned = cursor
        self.turn += 1

    async def fill(self) -> int:
        """Read on until a batch is there or the journal has no more; how many events it had forgotten before.

        Raises StoreError.
        """
        lost, turn = self._skip_forgotten(), self.turn
        while len(self._wanted) < self._outlet.batch and self.scanned < (newest := self._journal.newest.number):
            page = await self._journal.read(self.scanned, limit=_PAGE)
            if turn != self.turn:
                return 0
            self._wanted.extend(event for event in page if self._outlet.wants(event))
            self.scanned = page[-1].id.number if page else newest
        return lost

    def _skip_forgotten(self) -> int:
        oldest = self._journal.oldest_number
        if self._wanted or self.scanned + 1 >= oldest:
            return 0
        lost, self.scanned = oldest - 1 - self.scanned, oldest - 1
        return lost
