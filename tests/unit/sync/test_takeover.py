"""After a cut: which of our targets the memory holds already."""

from __future__ import annotations

from gateway.domain.events import EventName
from gateway.domain.receiver import Capability, Origin, Slot
from gateway.sync.takeover import take_over
from tests.fakes.clock import FakeClock
from tests.fakes.receiver import EVERYTHING, FakeReceiver, some_limits, some_slot
from tests.fakes.sync_house import SyncHouse


async def cut_house(written: dict[int, Slot], foreign: dict[int, Slot]) -> tuple[SyncHouse, FakeReceiver]:
    """A receiver without an event ring, a mirror that knows slots 1 to 4, and what happened since."""
    clock = FakeClock()
    limits = some_limits(slots=32, outputs=3, block_slots=8)
    receiver = FakeReceiver(clock=clock, limits=limits, capabilities=EVERYTHING - {Capability.EVENTS})
    for number in range(1, 5):
        receiver.board.put(number, some_slot(number, number), Origin.LINE)
    house = SyncHouse([receiver], clock=clock)
    await house.keeper.refresh("slip-gate")
    for number, slot in (written | foreign).items():
        receiver.board.put(number, slot, Origin.LINE)
    return house, receiver


async def test_what_an_interrupted_write_left_is_recorded_as_ours() -> None:
    """The mirror is then equal and proven: the refresh reads no slot and finds no drift, even without a ring."""
    targets = {2: some_slot(2, 2, [(2, 2)]), 9: some_slot(9, 50), 20: some_slot(20, 51)}
    house, receiver = await cut_house({number: targets[number] for number in (2, 9)}, {})
    mirror = house.store.mirrors.load("slip-gate")
    assert mirror is not None
    assert await take_over(receiver, house.keeper, mirror, targets) == 2
    reads = receiver.frames_of["read_slots"]
    after = await house.keeper.refresh("slip-gate")
    assert after.slots == receiver.board.slots
    assert receiver.frames_of["read_slots"] == reads
    assert house.store.journal.all(EventName.DRIFT_FOUND) == []


async def test_what_somebody_else_did_beside_it_is_left_to_be_found() -> None:
    """A foreign slot in the same block: the refresh still reads that block and tells it."""
    targets = {2: some_slot(2, 2, [(2, 2)])}
    house, receiver = await cut_house(targets, {3: some_slot(3, 3, [(3, 3)])})
    mirror = house.store.mirrors.load("slip-gate")
    assert mirror is not None
    assert await take_over(receiver, house.keeper, mirror, targets) == 1
    after = await house.keeper.refresh("slip-gate")
    assert after.slots == receiver.board.slots
    (drift,) = house.store.journal.all(EventName.DRIFT_FOUND)
    assert [slot["slot"] for slot in drift.data["slots"]] == [3]


async def test_old_values_are_not_ours() -> None:
    """Nothing was written: nothing is recorded, and no slot is read in blocks that agree."""
    house, receiver = await cut_house({}, {})
    mirror = house.store.mirrors.load("slip-gate")
    assert mirror is not None
    reads = receiver.frames_of["read_slots"]
    assert await take_over(receiver, house.keeper, mirror, {2: None, 9: some_slot(9, 50)}) == 0
    assert receiver.frames_of["read_slots"] == reads


async def test_a_freed_slot_is_taken_over_too() -> None:
    """None as a target is a slot that our removal has freed."""
    house, receiver = await cut_house({}, {})
    receiver.board.put(2, None, Origin.LINE)
    mirror = house.store.mirrors.load("slip-gate")
    assert mirror is not None
    assert await take_over(receiver, house.keeper, mirror, {2: None}) == 1
    known = house.store.mirrors.load("slip-gate")
    assert known is not None
    assert 2 not in known.slots
