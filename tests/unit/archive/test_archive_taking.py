"""Taking a snapshot: from a proven mirror, file before event, an id of its own."""

from __future__ import annotations

import asyncio
import dataclasses
from pathlib import Path

import pytest

from gateway.archive.taking import Archivist
from gateway.domain.events import EventName
from gateway.domain.receiver import OutputMode, Status
from gateway.domain.snapshot import Snapshot
from gateway.errors import StoreUnavailable
from gateway.store.snapshotfiles import SnapshotFiles
from gateway.store.worker import Worker
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore
from tests.fakes.store_samples import MORNING, FixedTrust, a_mirror, a_slot

STATUS = Status((False,), (False,), (OutputMode.TIMED, OutputMode.MOMENTARY))


@pytest.fixture
def clock() -> FakeClock:
    return FakeClock()


@pytest.fixture
def store(clock: FakeClock) -> MemoryStore:
    return MemoryStore(clock)


@pytest.fixture
def archivist(store: MemoryStore, clock: FakeClock) -> Archivist:
    return Archivist(snapshots=store.snapshots, journal=store.journal, clock=clock, trust=FixedTrust(False))


async def test_a_snapshot_holds_what_the_mirror_proved(archivist: Archivist, store: MemoryStore) -> None:
    """Slots ascending whatever their order in the mirror, settings, modes from the status, time with its trust."""
    mirror = dataclasses.replace(a_mirror(), slots={40: a_slot(40), 1: a_slot(1)})
    taken = await archivist.take("slip-gate", mirror, reason="plan", status=STATUS)
    assert taken == Snapshot(
        id="20260302T080000Z-001-slip-gate",
        receiver="slip-gate",
        taken=MORNING,
        clock_trusted=False,
        reason="plan",
        identity=mirror.identity,
        limits=mirror.limits,
        revision=7,
        slots=(a_slot(1), a_slot(40)),
        block_crcs=mirror.block_crcs,
        settings=mirror.settings,
        output_modes=STATUS.output_modes,
    )
    assert await store.snapshots.read(taken.id) == taken


async def test_the_journal_says_so(archivist: Archivist, store: MemoryStore) -> None:
    """One event, with the id to find the file by."""
    taken = await archivist.take("slip-gate", a_mirror(), reason="asked", status=None)
    (event,) = store.journal.all(EventName.SNAPSHOT_TAKEN)
    assert event.receiver == "slip-gate"
    assert event.data == {"snapshot": taken.id, "reason": "asked", "revision": 7, "slots": 3}
    assert taken.output_modes is None


async def test_there_is_no_event_without_a_file(
    archivist: Archivist, store: MemoryStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file that can't be written is told to the caller, and to nobody else."""

    async def full(_: Snapshot) -> Path:
        raise StoreUnavailable("The disk is full.")

    monkeypatch.setattr(store.snapshots, "write", full)
    with pytest.raises(StoreUnavailable):
        await archivist.take("slip-gate", a_mirror(), reason="plan")
    assert store.journal.all() == []


async def test_ids_differ_and_sort_within_one_second(archivist: Archivist, clock: FakeClock) -> None:
    """Asked for at once, for one receiver and for others; the next second begins anew."""
    names = ["slip-gate"] * 12 + ["car-park"] * 3
    taken = await asyncio.gather(*(archivist.take(name, a_mirror(name), reason="asked") for name in names))
    ids = [one.id for one in taken]
    assert len(set(ids)) == 15
    assert ids == sorted(ids)
    await clock.advance(1)
    later = await archivist.take("slip-gate", a_mirror(), reason="asked")
    assert later.id == "20260302T080001Z-001-slip-gate"
    assert later.id > ids[-1]


async def test_a_new_archivist_goes_on_where_the_files_are(
    tmp_path: Path, store: MemoryStore, clock: FakeClock
) -> None:
    """With real files: a restart within the same second overwrites nothing."""
    worker = Worker("files")
    files = SnapshotFiles(tmp_path, worker)
    ids = []
    for _ in range(3):
        archivist = Archivist(snapshots=files, journal=store.journal, clock=clock, trust=FixedTrust())
        ids.append((await archivist.take("slip-gate", a_mirror(), reason="plan", status=STATUS)).id)
    assert await files.list("slip-gate") == tuple(reversed(ids))
    assert (await files.read(ids[0])).output_modes == STATUS.output_modes
    await worker.close()


async def test_a_name_of_other_letters_gives_a_plain_id(archivist: Archivist) -> None:
    """The id is also a file's name."""
    taken = await archivist.take("Böat/hoist 1", a_mirror("Böat/hoist 1"), reason="asked")
    assert taken.id == "20260302T080000Z-001-B_at_hoist_1"
    assert taken.receiver == "Böat/hoist 1"
