"""The in-memory store behaves as the ports say."""

from __future__ import annotations

import asyncio

import pytest

from gateway.domain.events import EventDraft, EventId, EventName
from gateway.errors import StoreUnavailable
from gateway.ports import (
    Archive,
    Commit,
    EventFilter,
    Journal,
    Ledger,
    Mirrors,
    Plans,
    Proofs,
    RosterArchive,
    Runs,
    Snapshots,
    Tokens,
)
from tests.fakes.memory_store import MemoryStore


def fits(
    store: MemoryStore,
) -> tuple[Journal, Mirrors, Plans, Proofs, Runs, Ledger, Tokens, Snapshots, Archive, RosterArchive]:
    """Checked by mypy: every part fits its port."""
    return (
        store.journal,
        store.mirrors,
        store.plans,
        store.proofs,
        store.runs,
        store.ledger,
        store.tokens,
        store.snapshots,
        store.archive,
        store.rosters,
    )


async def test_a_failed_commit_keeps_nothing() -> None:
    """A full disk: the error is raised and neither events nor proofs are there."""
    store = MemoryStore()
    store.journal.full = True
    with pytest.raises(StoreUnavailable):
        await store.journal.commit(Commit(events=(EventDraft(EventName.GATEWAY_STARTED),), proven=((7, "gate"),)))
    assert store.journal.newest == EventId("m1", 0)
    assert store.proofs.proven(7) == frozenset()


async def test_reading_by_cursor_both_ways() -> None:
    """Events come in order after a number, and newest first before one."""
    journal = MemoryStore().journal
    for receiver in ("a", "b", "a"):
        await journal.commit(Commit(events=(EventDraft(EventName.LINK_LOST, receiver),)))
    assert [e.id.number for e in await journal.read(1)] == [2, 3]
    assert [e.id.number for e in await journal.read(0, newest_first=True, limit=2)] == [3, 2]
    assert [e.id.number for e in await journal.read(3, newest_first=True)] == [2, 1]
    assert [e.id.number for e in await journal.read(0, wanted=EventFilter(receivers=frozenset("a")))] == [1, 3]


async def test_waiting_ends_when_an_event_is_durable() -> None:
    """A reader who waits for newer events wakes at the next commit."""
    journal = MemoryStore().journal
    async with asyncio.TaskGroup() as group:
        waiting = group.create_task(journal.wait_newer(0))
        await asyncio.sleep(0)
        assert not waiting.done()
        await journal.commit(Commit(events=(EventDraft(EventName.GATEWAY_STARTED),)))
    assert journal.newest.number == 1


async def test_revoking_anew_voids_older_proofs() -> None:
    """A proof counts for the revocation that it was made for."""
    store = MemoryStore()
    await store.journal.commit(Commit(proven=((7, "gate"), (8, "gate"))))
    await store.journal.commit(Commit(unproven=(7,)))
    assert store.proofs.proven(7) == frozenset()
    assert store.proofs.proven(8) == {"gate"}
