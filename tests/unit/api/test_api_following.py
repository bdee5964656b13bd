"""Following the journal by a cursor."""

from __future__ import annotations

import asyncio

from gateway.api.following import Follower, Restart
from gateway.domain.events import EventDraft, EventId, EventName
from gateway.ports import Commit, EventFilter
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryJournal, MemoryStore

_ALL = EventFilter()


async def _journal(count: int) -> MemoryJournal:
    journal = MemoryStore(FakeClock()).journal
    await _more(journal, count)
    return journal


async def _more(journal: MemoryJournal, count: int, name: EventName = EventName.INPUT_CHANGED) -> None:
    await journal.commit(Commit(events=tuple(EventDraft(name, "slip-gate") for _ in range(count))))


async def _numbers(follower: Follower, count: int) -> list[int]:
    found: list[int] = []
    while len(found) < count:
        news = await follower.next()
        assert isinstance(news, tuple)
        found += [event.id.number for event in news]
    return found


async def test_everything_behind_an_id_in_order() -> None:
    """More than one batch, then what comes while waiting."""
    journal = await _journal(250)
    follower = Follower(journal, EventId("m1", 3), _ALL)
    assert await _numbers(follower, 247) == list(range(4, 251))
    async with asyncio.TaskGroup() as group:
        waiting = group.create_task(_numbers(follower, 2))
        await asyncio.sleep(0)
        await _more(journal, 2)
    assert waiting.result() == [251, 252]


async def test_without_an_id_only_what_is_new() -> None:
    """A listener that never listened gets no history."""
    journal = await _journal(5)
    follower = Follower(journal, None, _ALL)
    await _more(journal, 1)
    assert await _numbers(follower, 1) == [6]


async def test_an_id_of_another_epoch_is_told_and_gets_all() -> None:
    """First word of it, whose id resumes rightly, then all that is kept."""
    journal = await _journal(9)
    journal.prune(4)
    for start in (EventId("old", 7), EventId("m1", 99)):
        follower = Follower(journal, start, _ALL)
        assert await follower.next() == Restart(EventId("m1", 5), "other-epoch")
        assert await _numbers(follower, 4) == [6, 7, 8, 9]
    resumed = Follower(journal, EventId("m1", 5), _ALL)
    assert await _numbers(resumed, 4) == [6, 7, 8, 9]


async def test_events_no_longer_kept_are_told() -> None:
    """A listener that comes too late hears that something is missing, also when it happens while it waits."""
    journal = await _journal(9)
    journal.prune(4)
    follower = Follower(journal, EventId("m1", 2), _ALL)
    assert await follower.next() == Restart(EventId("m1", 5), "pruned")
    assert await _numbers(follower, 4) == [6, 7, 8, 9]
    await _more(journal, 6)
    journal.prune(2)
    assert await follower.next() == Restart(EventId("m1", 13), "pruned")
    assert await _numbers(follower, 2) == [14, 15]


async def test_a_filter_does_not_hold_the_cursor_back() -> None:
    """Events that are not wanted are passed over, and pruning them later is no loss."""
    journal = await _journal(50)
    follower = Follower(journal, EventId("m1", 0), EventFilter(names=frozenset({EventName.LINK_LOST})))
    async with asyncio.TaskGroup() as group:
        waiting = group.create_task(_numbers(follower, 1))
        await asyncio.sleep(0)
        journal.prune(1)
        await _more(journal, 1, EventName.LINK_LOST)
    assert waiting.result() == [51]


async def test_a_new_epoch_ends_it() -> None:
    """When the journal begins anew the listener has to come back, and is then told."""
    journal = await _journal(5)
    follower = Follower(journal, EventId("m1", 5), _ALL)
    async with asyncio.TaskGroup() as group:
        waiting = group.create_task(follower.next())
        await asyncio.sleep(0)
        journal.restart("m2")
        await _more(journal, 9)
    assert waiting.result() is None


async def test_cancelling_loses_nothing() -> None:
    """A wait that is given up for a heartbeat goes on where it was."""
    clock = FakeClock()
    journal = await _journal(1)
    follower = Follower(journal, EventId("m1", 1), _ALL)

    async def beat() -> bool:
        try:
            async with clock.timeout(15):
                await follower.next()
        except TimeoutError:
            return True
        return False

    assert await clock.run(beat())
    await _more(journal, 2)
    assert await _numbers(follower, 2) == [2, 3]
