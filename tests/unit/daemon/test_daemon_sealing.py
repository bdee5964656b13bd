"""The audit's newest row goes out at the start and once a day, when there is a new one."""

from __future__ import annotations

import asyncio
from contextlib import suppress

from gateway.daemon.upkeep import seal_audit
from gateway.domain.events import EventName
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore
from tests.fakes.use_cases import MemoryAudit

DAY_S = 24 * 3600


async def test_once_a_day_and_only_what_is_new() -> None:
    """Nothing while it is empty; never twice the same; a disk that is full for a day costs that day."""
    clock = FakeClock()
    store, audit = MemoryStore(clock), MemoryAudit()
    task = asyncio.ensure_future(seal_audit(audit, store.journal, clock))

    def told() -> list[int]:
        return [event.data["number"] for event in store.journal.all(EventName.AUDIT_SEALED)]

    await clock.advance(DAY_S)
    assert told() == []
    await audit.record("uid 0", "token.add")
    await clock.advance(DAY_S)
    assert told() == [1]
    await clock.advance(3 * DAY_S)
    assert told() == [1]
    await audit.record("uid 0", "token.add")
    store.journal.full = True
    await clock.advance(DAY_S)
    store.journal.full = False
    await clock.advance(DAY_S)
    assert told() == [1, 2]
    task.cancel()
    with suppress(asyncio.CancelledError):
        await task
    again = asyncio.ensure_future(seal_audit(audit, store.journal, clock))
    await clock.advance(1)
    assert told() == [1, 2]
    again.cancel()
    with suppress(asyncio.CancelledError):
        await again
