"""The parts fit the ports that the API and the daemon know them by, and follow the journal from now on."""

from __future__ import annotations

import asyncio

from gateway.domain.events import EventDraft, EventName
from gateway.ports import Commit, EventFilter, Revocations, RosterDesk, SettingsDesk, SyncRuns, Timetable
from gateway.sync.following import follow
from gateway.sync.roster_keeper import RosterKeeper
from gateway.sync.timetable import WallTimetable
from tests.fakes.memory_store import MemoryStore
from tests.fakes.sync_house import SyncHouse


def fits(
    house: SyncHouse, desk: RosterKeeper, table: WallTimetable
) -> tuple[SyncRuns, Revocations, SettingsDesk, RosterDesk, Timetable]:
    """Checked by mypy."""
    return house.runner, house.revoker, house.settings, desk, table


async def test_following_gives_every_wanted_event_from_now_on_once() -> None:
    """Not the older ones, none twice, and none lost when several hundred come at once."""
    store = MemoryStore()
    old = EventDraft(EventName.LINK_RESTORED, "old")
    await store.journal.commit(Commit(events=(old,)))
    seen: list[str] = []

    async def listen() -> None:
        async for event in follow(store.journal, EventFilter(names=frozenset({EventName.LINK_RESTORED}))):
            seen.append(event.receiver)
            if len(seen) == 301:
                return

    task = asyncio.ensure_future(listen())
    await asyncio.sleep(0)
    many = tuple(
        EventDraft(name, f"r{number}")
        for number in range(300)
        for name in (EventName.LINK_LOST, EventName.LINK_RESTORED)
    )
    await store.journal.commit(Commit(events=many))
    await store.journal.commit(Commit(events=(EventDraft(EventName.LINK_RESTORED, "last"),)))
    await task
    assert seen == [*(f"r{number}" for number in range(300)), "last"]
