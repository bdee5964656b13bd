"""Reading the journal from a place on, for ever, without losing or doubling anything.

A cursor and a wake-up: no queue for a listener, so that a slow one costs nothing but itself. When what a
listener knows can't be continued (another epoch, events no longer kept) it is told by `Restart`, and then gets all
that is kept.
"""

from __future__ import annotations

from dataclasses import dataclass

from gateway.domain.events import Event, EventId
from gateway.ports import EventFilter, Journal

__all__ = ["Follower", "Restart"]

_BATCH = 100


@dataclass(frozen=True, slots=True)
class Restart:
    """What the listener knows ends here. `resume` is the id to go on from.

    `reason` is `other-epoch` (the journal began anew) or `pruned` (events after the id are no longer kept).
    """

    resume: EventId
    reason: str


class Follower:
    """One listener's place in the journal."""

    def __init__(self, journal: Journal, start: EventId | None, wanted: EventFilter) -> None:
        """Begin behind `start`; None means from now on."""
        self._journal = journal
        self._wanted = wanted
        self._epoch = journal.newest.epoch
        self._after = journal.newest.number if start is None else start.number
        self._foreign = start is not None and (start.epoch != self._epoch or start.number > journal.newest.number)

    async def next(self) -> Restart | tuple[Event, ...] | None:
        """Wait for what comes next: a batch of at least one event, or word that something is missing.

        None when the journal began anew meanwhile: the listener should come back with its last id. Cancellation
        is safe and loses nothing; a batch counts as given only when this returns.
        """
        while self._journal.newest.epoch == self._epoch:
            newest, first = self._journal.newest.number, self._journal.oldest_number
            before_kept = first - 1 if first else newest
            if self._foreign or self._after < before_kept:
                reason = "other-epoch" if self._foreign else "pruned"
                self._foreign, self._after = False, before_kept
                return Restart(EventId(self._epoch, before_kept), reason)
            batch = await self._journal.read(self._after, limit=_BATCH, wanted=self._wanted)
            if batch:
                self._after = batch[-1].id.number
                return batch
            self._after = max(self._after, newest)
            await self._journal.wait_newer(self._after)
        return None
