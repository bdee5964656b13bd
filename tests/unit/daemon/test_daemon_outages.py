"""A journal that can't be written for a while: told once when it can again, within 10 s; and one log line a side."""

from __future__ import annotations

import asyncio
from contextlib import suppress

from structlog.testing import capture_logs

from gateway.daemon.upkeep import tell_outages
from gateway.domain.events import EventName
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore


async def test_an_outage_is_told_when_it_is_over() -> None:
    """Also when nobody else has anything to write; a day of it is two log lines."""
    clock = FakeClock()
    store = MemoryStore(clock)
    problem = lambda: "the disk is full" if store.journal.full else ""  # noqa: E731 - three words, used once
    task = asyncio.ensure_future(tell_outages(problem, store.journal, clock))

    def told() -> list[float]:
        return [event.data["failed_s"] for event in store.journal.all(EventName.JOURNAL_RESUMED)]

    with capture_logs() as lines:
        await clock.advance(3600)
        assert told() == []
        store.journal.full = True
        await clock.advance(24 * 3600)
        assert told() == []
        store.journal.full = False
        await clock.advance(10)
        (failed_s,) = told()
        assert 24 * 3600 - 10 <= failed_s <= 24 * 3600 + 10
        await clock.advance(3600)
        assert len(told()) == 1
    assert [line["event"] for line in lines] == ["journal.unavailable", "journal.resumed"]
    task.cancel()
    with suppress(asyncio.CancelledError):
        await task
