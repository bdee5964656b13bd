"""What has to be clear before a plan to the roster is made from a mirror that was refreshed for it just now.

The refresh itself can find that the receiver was reset at the board: the roster then waits there from that moment on.
And before Gatepost first writes to a receiver it keeps who was in it already.
"""

from __future__ import annotations

from gateway.domain.mirror import Mirror
from gateway.sync.drafting import RosterInForce
from gateway.sync.drift_book import DriftBook
from gateway.sync.waiting import Waiting

__all__ = ["BeforePlan"]


class BeforePlan:
    """Awaited with the mirror. Raises Refused with `roster-waits`, StoreUnavailable."""

    def __init__(self, *, waiting: Waiting, book: DriftBook, rosters: RosterInForce) -> None:
        self._waiting = waiting
        self._book = book
        self._rosters = rosters

    async def __call__(self, mirror: Mirror) -> None:
        await self._waiting.check(mirror.receiver)
        in_force = self._rosters.in_force
        if in_force is not None and mirror.confirmed:
            await self._book.note(mirror, in_force.roster.by_serial())
