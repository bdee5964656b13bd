"""Mirrors: read from memory, written row by row where they differ."""

from __future__ import annotations

import dataclasses
import sqlite3
from collections.abc import Awaitable, Callable

from gateway.domain.mirror import Mirror
from gateway.domain.receiver import RingPlace
from gateway.ports import Commit
from gateway.store.opening import Store
from tests.fakes.store_samples import a_mirror, a_slot, both_lives

Opener = Callable[[], Awaitable[Store]]


async def keep(store: Store, mirror: Mirror) -> int:
    """Commit a mirror; how many rows that changed."""
    before = await store._database.write(lambda db: db.total_changes)
    await store.journal.commit(Commit(mirror=mirror))
    return await store._database.write(lambda db: db.total_changes) - before


async def test_only_what_differs_is_written(store: Store) -> None:
    """A whole memory once; then one row for a changed slot, two for a freed one and a revision, none for nothing.

    The history beside it: a moment, and a row for each span that begins or ends.
    """
    full = a_mirror(numbers=range(1, 1025))
    assert await keep(store, full) == 1025 + 2 + 1024  # and since when it is recorded
    assert await keep(store, full) == 0
    changed = dataclasses.replace(full, slots={**full.slots, 9: a_slot(9, name="Berth 9a")})
    assert await keep(store, changed) == 1 + 3
    freed = dataclasses.replace(changed, slots={n: s for n, s in changed.slots.items() if n != 500}, revision=8)
    assert await keep(store, freed) == 2 + 2
    assert store.mirrors.load("slip-gate") == freed


async def test_each_receiver_has_its_own(store: Store, reopen: Opener) -> None:
    """One receiver's mirror never touches another's, also after a restart."""
    await keep(store, a_mirror("slip-gate", (1, 2)))
    await keep(store, a_mirror("car-park", (2, 3)))
    await keep(store, a_mirror("slip-gate", ()))
    async for opened in both_lives(store, reopen):
        assert opened.mirrors.load("slip-gate") == a_mirror("slip-gate", ())
        assert opened.mirrors.load("car-park") == a_mirror("car-park", (2, 3))
        assert opened.mirrors.load("shutter") is None


async def test_the_cursor_moves_by_cursors_alone(store: Store, reopen: Opener) -> None:
    """A mirror's own cursor is ignored; a cursor that came before the mirror is with it later."""
    await store.journal.commit(Commit(cursors={"slip-gate": RingPlace(2, 10)}))
    assert store.mirrors.load("slip-gate") is None
    await keep(store, dataclasses.replace(a_mirror(), cursor=RingPlace(9, 9)))
    found = store.mirrors.load("slip-gate")
    assert found is not None
    assert found.cursor == RingPlace(2, 10)
    await store.journal.commit(Commit(cursors={"slip-gate": RingPlace(2, 11)}))
    async for opened in both_lives(store, reopen):
        found = opened.mirrors.load("slip-gate")
        assert found is not None
        assert found.cursor == RingPlace(2, 11)


async def test_a_mirror_that_was_given_out_never_changes(store: Store) -> None:
    """What the caller does to its own slots afterwards does not reach the kept mirror."""
    slots = {1: a_slot(1)}
    await keep(store, dataclasses.replace(a_mirror(), slots=slots))
    slots[2] = a_slot(2)
    found = store.mirrors.load("slip-gate")
    assert found is not None
    assert dict(found.slots) == {1: a_slot(1)}


async def test_a_slot_that_no_longer_reads_sets_the_database_aside(store: Store, reopen: Opener) -> None:
    """A mirror that is not what was proven is not used: the next start begins anew and reads the receiver."""
    await keep(store, a_mirror())

    def spoil(db: sqlite3.Connection) -> None:
        db.execute("update mirror_slots set slot = '{}' where number = 2")

    await store._database.write(spoil)
    opened = await reopen()
    assert opened.mirrors.load("slip-gate") is None
    assert "set aside as gatepost.db.damaged-1" in opened.notices[0]
