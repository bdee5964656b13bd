"""A stand-in from a snapshot: what it holds, what it is called, what it refuses."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from gateway.domain.receiver import Identity, OutputMode, ReceiverSettings
from gateway.domain.snapshot import Snapshot
from gateway.errors import SettingsFault
from gateway.maps import Role, load_map
from gateway.virtual.keeping import FileKeeper
from gateway.virtual.options import VirtualOptions, rehearsal_serial
from gateway.virtual.receiver import VirtualReceiver
from gateway.virtual.rehearsal import start_from
from tests.fakes.store_samples import LIMITS, MORNING, a_slot

MAP = load_map("reference")


def a_snapshot() -> Snapshot:
    return Snapshot(
        id="20260302T080000Z-001-slip-gate",
        receiver="slip-gate",
        taken=MORNING,
        clock_trusted=True,
        reason="asked",
        identity=Identity("Fennel", "Yard receiver", "1.2", "FQ-0007", "reference", 1),
        limits=replace(LIMITS, outputs=3, slots=96, name_bytes=12),
        revision=412,
        slots=(a_slot(1), a_slot(40)),
        block_crcs=(),
        settings=ReceiverSettings((5, 30, 8), local_programming=False, password_set=True),
        output_modes=(OutputMode.TIMED, OutputMode.LATCHING, OutputMode.MOMENTARY),
    )


def stand_in(snapshot: Snapshot, keeper: FileKeeper | None = None) -> VirtualReceiver:
    made = VirtualReceiver(MAP, serial="FQ-0007-R", outputs=3, limits=snapshot.limits, keeper=keeper)
    start_from(made, snapshot)
    return made


def test_it_holds_what_the_snapshot_holds() -> None:
    """Slots with all of their fields, settings, selectors, limits, revision; and no link password."""
    made = stand_in(a_snapshot())
    memory = made.memory
    assert {number: record.serial for number, record in memory.slots.items()} == {1: 48_231_901, 40: 48_231_940}
    fields = MAP.block(Role.SLOTS).fields
    raw = memory.slots[40].raw
    assert [fields[name].decode(raw) for name in ("name", "kind", "flags")] == ["Berth 40", 4, 1]
    assert memory.slots[40].outputs[:3] == (frozenset({1}), frozenset(), frozenset({2, 4}))
    assert (memory.on_times_s, memory.local_programming, memory.password) == ([5, 30, 8], False, b"")
    assert memory.modes == [OutputMode.TIMED, OutputMode.LATCHING, OutputMode.MOMENTARY]
    assert (made.limits.outputs, made.limits.slots, made.limits.name_bytes) == (3, 96, 12)
    assert memory.revision == 412


def test_it_is_marked_unless_asked() -> None:
    """Nobody takes the stand-in for the real one; a long serial still has room for the mark."""
    assert VirtualOptions(Path("x"), snapshot=a_snapshot()).serial_of(0) == "FQ-0007-R"
    assert VirtualOptions(Path("x"), snapshot=a_snapshot(), serials=("FQ-0007",)).serial_of(0) == "FQ-0007"
    assert rehearsal_serial("0123456789ABCDEF") == "0123456789ABCD-R"


def test_a_memory_that_holds_something_is_not_overwritten(tmp_path: Path) -> None:
    """Its file goes on as it is; with a new one the stand-in outlives its process."""
    first = stand_in(a_snapshot(), FileKeeper(tmp_path / "memory"))
    first.memory.close()
    again = VirtualReceiver(
        MAP, serial="x", outputs=3, limits=a_snapshot().limits, keeper=FileKeeper(tmp_path / "memory")
    )
    assert (set(again.memory.slots), again.memory.revision) == ({1, 40}, 412)
    with pytest.raises(SettingsFault, match="holds something already"):
        start_from(again, a_snapshot())
    again.memory.close()


def test_what_cannot_be_played_is_refused() -> None:
    """Another map, a second address, more than the virtual receiver can have."""
    other = replace(a_snapshot(), identity=replace(a_snapshot().identity, map_name="harbour"))
    with pytest.raises(SettingsFault, match="Add --map harbour"):
        stand_in(other)
    with pytest.raises(SettingsFault, match="one receiver"):
        VirtualOptions(Path("x"), addresses=(1, 2), snapshot=a_snapshot())
    large = replace(a_snapshot(), limits=replace(LIMITS, outputs=16))
    with pytest.raises(SettingsFault, match="larger"):
        VirtualOptions(Path("x"), snapshot=large)
