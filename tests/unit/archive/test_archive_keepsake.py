"""What a receiver held last is archived before it is forgotten: once, with its modes, and never at any price."""

from __future__ import annotations

import dataclasses

import pytest

from gateway.archive.keepsake import Keepsake
from gateway.archive.taking import Archivist
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import OutputMode, Status
from gateway.errors import StoreUnavailable
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore
from tests.fakes.store_samples import FixedTrust, a_mirror, a_slot

_MODES = (OutputMode.TIMED, OutputMode.MOMENTARY)
_STATUS = Status((False,), (False,), _MODES)


@pytest.fixture
def store() -> MemoryStore:
    return MemoryStore(FakeClock())


@pytest.fixture
def archivist(store: MemoryStore) -> Archivist:
    return Archivist(snapshots=store.snapshots, journal=store.journal, clock=FakeClock(), trust=FixedTrust(True))


@pytest.fixture
def keepsake(store: MemoryStore, archivist: Archivist) -> Keepsake:
    return Keepsake(archivist=archivist, snapshots=store.snapshots)


def _held(*numbers: int, serial: str = "FQ-0001") -> Mirror:
    mirror = a_mirror()
    identity = dataclasses.replace(mirror.identity, serial=serial)
    return dataclasses.replace(mirror, identity=identity, slots={n: a_slot(n) for n in numbers})


async def test_what_no_snapshot_holds_is_kept(keepsake: Keepsake, archivist: Archivist, store: MemoryStore) -> None:
    """The one of before the last plan is older than what the receiver held."""
    before = await archivist.take("slip-gate", _held(1), reason="plan", status=_STATUS)
    kept = await keepsake.keep(_held(1, 2), reason="replaced", status=_STATUS)
    snapshot = await store.snapshots.read(kept)
    assert (kept != before.id, snapshot.reason, len(snapshot.slots)) == (True, "replaced", 2)
    assert snapshot.output_modes == _MODES


async def test_what_the_newest_one_holds_is_not_kept_twice(keepsake: Keepsake, store: MemoryStore) -> None:
    """Judged by slots and settings; a second look finds the first one's."""
    first = await keepsake.keep(_held(1), reason="replaced", status=_STATUS)
    assert await keepsake.keep(_held(1), reason="board-reset", status=_STATUS) == first
    assert len(store.snapshots.kept) == 1


async def test_modes_come_from_the_same_board(keepsake: Keepsake, archivist: Archivist, store: MemoryStore) -> None:
    """After a start nobody has seen its selectors yet; those of another board say nothing."""
    await archivist.take("slip-gate", _held(1), reason="plan", status=_STATUS)
    other = dataclasses.replace(_STATUS, output_modes=(OutputMode.LATCHING, OutputMode.LATCHING))
    await archivist.take("slip-gate", _held(1, serial="FQ-0009"), reason="plan", status=other)
    kept = await keepsake.keep(_held(1, 2), reason="replaced", status=None)
    assert (await store.snapshots.read(kept)).output_modes == _MODES
    unseen = await keepsake.keep(_held(3, serial="FQ-0005"), reason="replaced", status=None)
    assert (await store.snapshots.read(unseen)).output_modes is None


async def test_a_full_disk_keeps_nobody_from_looking(
    keepsake: Keepsake, store: MemoryStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No id, and nothing raised; nothing is taken of a receiver that keeps nothing."""

    async def full(_: object) -> None:
        raise StoreUnavailable("The disk is full.", remedy="Make room.")

    monkeypatch.setattr(store.snapshots, "write", full)
    assert await keepsake.keep(_held(1), reason="replaced", status=_STATUS) == ""
    nothing = dataclasses.replace(_held(), settings=None)
    assert await keepsake.keep(nothing, reason="replaced", status=_STATUS) == ""
