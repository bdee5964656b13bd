"""Our own interrupted write is never called drift; and drift is not lost between the ledger and the mirror.

Exhaustive over one plan: cut before and after each of its frames, and looked at by the poll before anything is resumed.
"""

from __future__ import annotations

import pytest

from gateway.domain.drift import DriftPolicy, DriftState
from gateway.domain.events import EventName
from gateway.domain.receiver import Origin
from gateway.errors import StoreUnavailable
from gateway.sync.resuming import resume_plans
from tests.fakes.clock import FakeClock
from tests.fakes.receiver import some_slot
from tests.fakes.sync_house import SLIP_GATE, SyncHouse, entry, quay_receiver, roster, run_in

OLD = roster(*(entry(serial) for serial in range(101, 113)))
NEW = roster(
    *(entry(serial) for serial in range(103, 110)),
    *(entry(serial, "1:slip-gate/gate 2:slip-gate/boat-hoist") for serial in (110, 111, 112)),
    *(entry(serial) for serial in range(201, 206)),
    digest="d2",
)


async def _at_work() -> SyncHouse:
    """Brought to the old roster; the new one is in force."""
    clock = FakeClock()
    house = SyncHouse([quay_receiver(clock=clock)], clock=clock, drift=DriftPolicy.REMOVE)
    house.rosters.put(OLD)
    async with run_in(house):
        await clock.run(house.runner.apply(SLIP_GATE))
    house.rosters.put(NEW)
    return house


async def _frames_of_the_plan() -> int:
    house = await _at_work()
    before = house.receivers[SLIP_GATE].frames
    async with run_in(house):
        await house.clock.run(house.runner.apply(SLIP_GATE))
    return house.receivers[SLIP_GATE].frames - before


@pytest.mark.parametrize("after", [False, True])
async def test_cut_at_every_frame_and_seen_by_the_poll_first(after: bool) -> None:
    """Killed there; the next start's poll reads the memory before the plan is carried on: no drift, ever."""
    for place in range(await _frames_of_the_plan()):
        house = await _at_work()
        receiver = house.receivers[SLIP_GATE]
        async with run_in(house):
            receiver.fail(skip=place, after=after, times=1000)
            house.runner.owe(SLIP_GATE)
            await house.clock.settle()
        receiver.no_faults()
        again = house.restarted()
        await again.clock.run(again.keeper.refresh(SLIP_GATE))
        async with run_in(again):
            await resume_plans(
                plans=again.store.plans,
                journal=again.store.journal,
                runner=again.runner,
                ids=again.ids,
                site=again.site,
            )
            await again.clock.advance(5)
            await again.clock.run(again.runner.apply(SLIP_GATE))
            found = again.store.journal.all(EventName.DRIFT_FOUND)
            assert found == [], (place, found)
            assert again.drift.open() == ()
            assert set(again.held()) == {entry.serial for entry in NEW.entries}


@pytest.mark.parametrize("hand", [Origin.BOARD, Origin.LINE])
async def test_another_hand_in_the_middle_of_our_plan_is_drift(hand: Origin) -> None:
    """A slot that no plan of ours meant to be so, changed while we write, is told from our own."""
    house = await _at_work()
    receiver = house.receivers[SLIP_GATE]
    async with run_in(house):
        receiver.fail(skip=2, method="write_slots", times=1)
        house.runner.owe(SLIP_GATE)
        await house.clock.settle()
        receiver.board.put(40, some_slot(40, 900), hand)
        await house.clock.advance(60)
        events = house.store.journal.all(EventName.DRIFT_FOUND)
        assert [each["serial"] for event in events for each in event.data["drift"]] == ["0000000900"]


async def test_a_full_disk_between_ledger_and_mirror_loses_nothing() -> None:
    """It is in the ledger and not yet told; found again, told once, and counted once."""
    clock = FakeClock()
    house = SyncHouse([quay_receiver(clock=clock)], clock=clock, drift=DriftPolicy.REMOVE)
    house.rosters.put(OLD)
    async with run_in(house):
        await clock.run(house.runner.apply(SLIP_GATE))
        house.receivers[SLIP_GATE].board.unlearn(101, 1, 1)
        house.store.journal.full = True
        with pytest.raises(StoreUnavailable):
            await clock.run(house.keeper.refresh(SLIP_GATE))
        house.store.journal.full = False
        await clock.run(house.runner.apply(SLIP_GATE))
        assert len(house.store.journal.all(EventName.DRIFT_FOUND)) == 1
        (item,) = house.drift.open()
        assert item.state is DriftState.STANDS
        assert 101 not in house.held()


async def test_a_full_ledger_keeps_the_mirror_where_it_is() -> None:
    """What can't be kept is not passed over: the mirror waits, and nothing is given back meanwhile."""
    clock = FakeClock()
    house = SyncHouse([quay_receiver(clock=clock)], clock=clock, drift=DriftPolicy.REMOVE)
    house.rosters.put(OLD)
    async with run_in(house):
        await clock.run(house.runner.apply(SLIP_GATE))
        house.receivers[SLIP_GATE].board.unlearn(101, 1, 1)
        house.store.ledger.full = True
        with pytest.raises(StoreUnavailable):
            await clock.run(house.runner.apply(SLIP_GATE))
        house.store.ledger.full = False
        await clock.run(house.runner.apply(SLIP_GATE))
        assert 101 not in house.held()
