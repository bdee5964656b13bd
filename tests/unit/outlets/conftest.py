"""Outlets over a journal and an outbox in memory, on a clock that the test moves."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import pytest

from gateway.domain.events import Event, EventDraft, EventName, Span
from gateway.outlets.house import OutletHouse
from gateway.ports import Commit, Outlet
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore
from tests.fakes.outlets import MemoryOutbox


class Bench:
    """A quay with a journal; `running` runs the house over the outlets given."""

    def __init__(self) -> None:
        self.clock = FakeClock()
        self.store = MemoryStore(self.clock)
        self.journal = self.store.journal
        self.outbox = MemoryOutbox()
        self.house: OutletHouse | None = None

    async def happen(
        self,
        name: EventName = EventName.INPUT_CHANGED,
        receiver: str = "slip-gate",
        late: Span | None = None,
        **data: Any,
    ) -> Event:
        """One more event, and time for everybody to act on it."""
        self.outbox.ride()
        (event,) = await self.journal.commit(Commit(events=(EventDraft(name, receiver, data, late),)))
        await self.clock.settle()
        return event

    def told(self, *names: EventName) -> list[Event]:
        """What the outlets told of themselves."""
        return self.journal.all(
            *(names or (EventName.OUTLET_FAILING, EventName.OUTLET_RECOVERED, EventName.OUTLET_SET_ASIDE))
        )

    @asynccontextmanager
    async def running(self, *outlets: Outlet) -> AsyncIterator[OutletHouse]:
        """As from a start of the gateway to its end."""
        house = OutletHouse(outlets, journal=self.journal, outbox=self.outbox, clock=self.clock)
        await house.load()
        async with asyncio.TaskGroup() as group:
            task = group.create_task(house.run())
            await self.clock.settle()
            yield house
            task.cancel()


@pytest.fixture
def bench() -> Bench:
    return Bench()
