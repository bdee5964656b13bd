"""Delivery state of the outlets: durable with the journal, bounded, and never a second copy of events."""

from __future__ import annotations

import asyncio
import contextlib
import sqlite3
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from gateway.domain.events import EventDraft, EventName
from gateway.ports import Commit, OutboxRow, SetAside
from gateway.store.opening import Store
from gateway.store.outbox import KEPT_SET_ASIDE
from tests.unit.store.conftest import Opener

_NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
_ROW = OutboxRow("harbour-desk", cursor=7, done=3, failures=2, next_try=_NOON, endpoint="9f2c")


def _on_disk(folder: Path) -> dict[str, str]:
    with contextlib.closing(sqlite3.connect(folder / "gatepost.db")) as db:
        return dict(db.execute("select outlet, state from outbox"))


async def test_a_saved_row_outlives_a_restart(reopen: Opener) -> None:
    """Every field comes back as it was."""
    store = await reopen()
    await store.outbox.save(_ROW)
    assert (await reopen()).outbox.rows() == {"harbour-desk": _ROW}


async def test_a_marked_row_goes_with_the_next_commit(store: Store, folder: Path) -> None:
    """No write of its own: it is on the disk together with the event of that commit."""
    store.outbox.mark(_ROW)
    assert store.outbox.rows()["harbour-desk"] == _ROW
    assert _on_disk(folder) == {}
    await store.journal.commit(Commit(events=(EventDraft(EventName.LINK_LOST, "slip-gate"),)))
    assert '"cursor":7' in _on_disk(folder)["harbour-desk"]


async def test_flush_writes_what_was_marked_and_leaves_what_was_marked_lazily(store: Store, folder: Path) -> None:
    """A cursor that only passed over events of no interest is not worth a write to the card."""
    store.outbox.mark(_ROW, lazy=True)
    await store.outbox.flush()
    assert _on_disk(folder) == {}
    store.outbox.mark(replace(_ROW, done=4))
    await store.outbox.flush()
    assert '"done":4' in _on_disk(folder)["harbour-desk"]


async def test_an_orderly_end_keeps_what_was_marked(reopen: Opener) -> None:
    """A restart sends nothing twice."""
    store = await reopen()
    store.outbox.mark(_ROW)
    assert (await reopen()).outbox.rows() == {"harbour-desk": _ROW}


async def test_an_event_set_aside_is_durable_together_with_the_cursor(store: Store) -> None:
    """Newest first, and only of the outlet asked for."""
    for number in (8, 9):
        aside = SetAside("harbour-desk", number, EventName.INPUT_CHANGED, "slip-gate", "400: no", _NOON)
        await store.outbox.save(replace(_ROW, cursor=number), aside)
    assert [each.number for each in await store.outbox.set_asides("harbour-desk")] == [9, 8]
    assert await store.outbox.set_asides("station") == ()
    assert store.outbox.rows()["harbour-desk"].cursor == 9


async def test_the_list_of_events_set_aside_is_bounded(store: Store, folder: Path) -> None:
    """Beyond the limit the oldest go."""
    for number in range(1, KEPT_SET_ASIDE + 4):
        aside = SetAside("harbour-desk", number, EventName.INPUT_CHANGED, "", "no", _NOON)
        await store.outbox.save(_ROW, aside)
    kept = await store.outbox.set_asides("harbour-desk", limit=KEPT_SET_ASIDE * 2)
    assert [kept[0].number, kept[-1].number, len(kept)] == [KEPT_SET_ASIDE + 3, 4, KEPT_SET_ASIDE]


async def test_an_outlet_taken_out_of_the_settings_is_forgotten(reopen: Opener) -> None:
    """Put in again later, it starts anew instead of sending what nobody waits for."""
    store = await reopen()
    aside = SetAside("harbour-desk", 8, EventName.INPUT_CHANGED, "", "no", _NOON)
    await store.outbox.save(_ROW, aside)
    await store.outbox.save(replace(_ROW, outlet="station"))
    await store.outbox.forget_others(["station"])
    store = await reopen()
    assert set(store.outbox.rows()) == {"station"}
    assert await store.outbox.set_asides("harbour-desk") == ()


async def test_marks_made_during_a_commit_are_not_lost(store: Store, folder: Path) -> None:
    """What changes while a transaction runs is written by the next one."""

    async def mark() -> None:
        for number in range(1, 60):
            store.outbox.mark(replace(_ROW, cursor=number))
            await asyncio.sleep(0)

    async with asyncio.TaskGroup() as group:
        group.create_task(mark())
        for _ in range(5):
            await store.journal.commit(Commit(events=(EventDraft(EventName.LINK_LOST),)))
    await store.outbox.flush()
    assert '"cursor":59' in _on_disk(folder)["harbour-desk"]
