"""Clearing a receiver: the name typed, the snapshot first, the proof, and nothing that fills it again."""

from __future__ import annotations

import pytest

from gateway.domain.plan import PlanState
from gateway.domain.receiver import Capability
from gateway.errors import NoAnswer, NotProven, Refused, Unsupported
from gateway.ports import RestoreOrder
from tests.fakes.archive_house import ArchiveHouse, fill
from tests.fakes.clock import FakeClock
from tests.fakes.receiver import EVERYTHING, FakeReceiver, some_slot
from tests.fakes.sync_house import entry, quay_receiver, roster, run_in


@pytest.fixture
def house() -> ArchiveHouse:
    clock = FakeClock()
    receiver = quay_receiver(clock=clock)
    fill(receiver, some_slot(1, 101), some_slot(9, 102))
    made = ArchiveHouse([receiver], clock=clock)
    made.rosters.put(roster(entry(101), entry(102)))
    return made


def only(house: ArchiveHouse) -> FakeReceiver:
    return house.receivers["slip-gate"]


async def cleared(house: ArchiveHouse, typed: str = "slip-gate") -> str:
    return (await house.clock.run(house.clearing.reset("slip-gate", typed=typed, asked_by="local:0"))).id


async def test_a_cleared_receiver_is_empty_archived_and_left_alone(house: ArchiveHouse) -> None:
    """No run of the roster fills it, after a restart neither; approved it does; the snapshot brings all of it back."""
    only(house).board.set_password("secret")
    only(house).known_password = "secret"
    taken = await cleared(house)
    assert (only(house).board.slots, only(house).board.password) == ({}, "")
    snapshot = house.store.snapshots.kept[taken]
    assert (snapshot.reason, len(snapshot.slots)) == ("reset", 2)
    again = house.restarted()
    async with run_in(again):
        outcome = (await again.clock.run(again.runner.apply_all()))["slip-gate"]
        assert isinstance(outcome, Refused)
        assert (outcome.code, only(house).board.slots) == ("roster-waits", {})
        with pytest.raises(Refused, match="no snapshot in it to approve"):
            await again.waiting.approve("slip-gate", "snapshot", asked_by="Kim")
        plan = await again.restore(RestoreOrder("slip-gate", taken))
        assert plan.state is PlanState.APPLIED
        assert again.waiting.all()["slip-gate"].reason == "restore"
    assert again.held().keys() == {101, 102}


async def test_another_name_clears_nothing(house: ArchiveHouse) -> None:
    """Nor takes a snapshot."""
    with pytest.raises(Refused) as refused:
        await cleared(house, "car-park")
    assert refused.value.code == "name-differs"
    assert len(only(house).board.slots) == 2
    assert (house.store.snapshots.kept, house.waiting.all()) == ({}, {})


async def test_a_held_plan_does_not_survive_it(house: ArchiveHouse) -> None:
    """What waited for approval was about a memory that is no more."""
    house.rosters.put(roster(entry(500)))
    held = await house.clock.run(house.runner.apply("slip-gate"))
    house.store.plans.kept[held.id] = held
    await cleared(house)
    assert all(plan.state.is_final for plan in house.store.plans.kept.values())


async def test_a_reset_that_did_not_take_is_told(house: ArchiveHouse, monkeypatch: pytest.MonkeyPatch) -> None:
    """An acknowledged reset with something left is no success; the way back is named."""

    async def lazy() -> None:
        return

    monkeypatch.setattr(only(house), "factory_reset", lazy)
    with pytest.raises(NotProven, match="2 transmitters are still in it") as fault:
        await cleared(house)
    assert next(iter(house.store.snapshots.kept)) in fault.value.remedy


async def test_cut_before_the_reset_the_roster_waits_all_the_same(house: ArchiveHouse) -> None:
    """Nobody knows whether it arrived; asked again it ends the same way."""
    only(house).fail(NoAnswer("Silence."), method="factory_reset", after=True)
    with pytest.raises(NoAnswer) as fault:
        await cleared(house)
    assert house.waiting.all()["slip-gate"].reason == "reset"
    (kept,) = house.store.snapshots.kept
    assert f"give the command again. The way back is the snapshot {kept}." in fault.value.remedy
    await house.clock.advance(2)
    assert await cleared(house) == kept, "an empty memory is no way back"
    assert only(house).board.slots == {}
    assert house.waiting.all()["slip-gate"].snapshot == kept
    assert len(house.store.snapshots.kept) == 1


async def test_a_map_without_reset() -> None:
    """It is done at the board then."""
    clock = FakeClock()
    house = ArchiveHouse([FakeReceiver(clock=clock, capabilities=EVERYTHING - {Capability.RESET})], clock=clock)
    with pytest.raises(Unsupported, match="its map has no reset"):
        await cleared(house)
