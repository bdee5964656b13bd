"""The journal from now on, event by event, for use cases that act on what happens."""

from __future__ import annotations

from collections.abc import AsyncIterator

from gateway.domain.events import Event
from gateway.ports import EventFilter, Journal

__all__ = ["follow"]

_AT_ONCE = 100


async def follow(journal: Journal, wanted: EventFilter) -> AsyncIterator[Event]:
    """Every wanted event that becomes durable from now on, in order. Never ends by itself."""
    number = journal.newest.number
    while True:
        await journal.wait_newer(number)
        upto = journal.newest.number
        events = await journal.read(number, limit=_AT_ONCE, wanted=wanted)
        number = events[-1].id.number if len(events) == _AT_ONCE else max(upto, number)
        for event in events:
            yield event
            number = max(number, event.id.number)
