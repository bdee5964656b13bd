"""A revoked serial must not work, now: ahead of everything, proven, through restarts and dead lines."""

from __future__ import annotations

import asyncio
from collections.abc import Collection, Sequence

import pytest

from gateway.domain.events import EventDraft, EventName
from gateway.domain.plan import PlanState
from gateway.domain.receiver import Origin, Slot
from gateway.domain.revocation import RevocationState
from gateway.domain.urgency import Urgency
from gateway.errors import NoAnswer, NotFound, Refused, StoreUnavailable
from gateway.ports import Commit
from tests.fakes.clock import FakeClock
from tests.fakes.receiver import FakeReceiver, some_slot
from tests.fakes.sync_house import SyncHouse, entry, quay_receiver, roster, run_in

PROVEN, PENDING = RevocationState.PROVEN, RevocationState.PENDING


async def ready(*names: str, count: int = 10) -> SyncHouse:
    """Receivers that hold serials 1 to `count`, and mirrors that know it."""
    clock = FakeClock()
    receivers = [quay_receiver(name, clock=clock) for name in names or ("slip-gate",)]
    for receiver in receivers:
        for number in range(1, count + 1):
            receiver.board.put(number, some_slot(number, number, name=f"Berth {number}"), Origin.LINE)
    house = SyncHouse(receivers, clock=clock)
    for receiver in receivers:
        await house.keeper.refresh(receiver.name)
    return house


def only(house: SyncHouse) -> FakeReceiver:
    return house.receivers["slip-gate"]


async def test_revoked_freed_proven_and_told() -> None:
    """Ledger first, then pending, then gone from every receiver with its proof."""
    house = await ready("slip-gate", "car-park")
    frames = only(house).frames
    async with run_in(house):
        revocation = await house.revoker.revoke(7, asked_by="Kim", reason="lost in the marina")
        assert revocation.states == {"slip-gate": PENDING, "car-park": PENDING}
        assert house.store.ledger.old_slots[7]["car-park"].serial == 7
        await house.clock.settle()
    assert house.revoker.state(7) == {"slip-gate": PROVEN, "car-park": PROVEN}
    assert 7 not in house.held()
    assert 7 not in house.held("car-park")
    names = [event.name for event in house.store.journal.all()]
    assert names.index(EventName.REVOCATION_PENDING) < names.index(EventName.REVOCATION_APPLIED)
    applied = house.store.journal.all(EventName.REVOCATION_APPLIED)
    assert {event.receiver for event in applied} == {"slip-gate", "car-park"}
    assert {event.data["serial"] for event in applied} == {"0000000007"}
    assert house.store.journal.all(EventName.DRIFT_FOUND) == []
    sent = only(house).urgencies[frames:]
    assert set(sent[:3]) == {Urgency.REVOCATION}, "the write, its read-back and the sums go first of all"
    assert len(sent) <= 8


async def test_a_serial_that_a_receiver_never_held_is_proven_by_reading() -> None:
    """Nothing is written; the memory is read and lacks it."""
    house = await ready()
    async with run_in(house):
        await house.revoker.revoke(999, asked_by="Kim", reason="found in the street")
        await house.clock.settle()
    assert house.revoker.state(999) == {"slip-gate": PROVEN}
    assert only(house).write_frames == 0


async def test_asking_twice_is_one_revocation() -> None:
    """The first asker and reason stay; nothing is told twice."""
    house = await ready()
    async with run_in(house):
        await house.revoker.revoke(7, asked_by="Kim", reason="lost")
        await house.clock.settle()
        again = await house.revoker.revoke(7, asked_by="Lee", reason="also lost")
        await house.clock.settle()
    assert (again.asked_by, again.states) == ("Kim", {"slip-gate": PROVEN})
    assert len(house.store.journal.all(EventName.REVOCATION_APPLIED)) == 1


@pytest.mark.parametrize("serial", [0, -1, 2**32])
async def test_what_is_no_serial_is_refused(serial: int) -> None:
    """Nothing reaches the ledger."""
    house = await ready()
    with pytest.raises(Refused):
        await house.revoker.revoke(serial, asked_by="Kim", reason="")
    assert house.store.ledger.revocations() == {}


async def test_an_unreachable_receiver_gets_it_on_return() -> None:
    """Pending and visible meanwhile; written at once when the link is restored."""
    house = await ready("slip-gate", "car-park")
    only(house).link_error = NoAnswer("silence")
    async with run_in(house):
        await house.revoker.revoke(7, asked_by="Kim", reason="lost")
        await house.clock.advance(300)
        assert house.revoker.state(7) == {"slip-gate": PENDING, "car-park": PROVEN}
        assert only(house).frames_of["write_slots"] <= 16, "tried with growing pauses, not hammered"
        only(house).link_error = None
        await house.store.journal.commit(Commit(events=(EventDraft(EventName.LINK_RESTORED, "slip-gate"),)))
        await house.clock.settle()
        assert house.revoker.state(7)["slip-gate"] is PROVEN
    assert 7 not in house.held()


async def test_without_any_news_it_is_tried_again() -> None:
    """Within half a minute of the return, even when nobody tells that the link is back."""
    house = await ready()
    only(house).link_error = NoAnswer("silence")
    async with run_in(house):
        await house.revoker.revoke(7, asked_by="Kim", reason="lost")
        await house.clock.advance(300)
        only(house).link_error = None
        await house.clock.advance(30)
    assert house.revoker.state(7) == {"slip-gate": PROVEN}


async def test_it_survives_a_restart_and_a_lost_database() -> None:
    """The ledger knows; what the database had proven is proven anew."""
    house = await ready()
    only(house).link_error = NoAnswer("silence")
    async with run_in(house):
        await house.revoker.revoke(7, asked_by="Kim", reason="lost")
    house.store.lose_database()
    only(house).link_error = None
    again = house.restarted()
    assert again.revoker.state(7) == {"slip-gate": PENDING}
    async with run_in(again):
        await again.clock.settle()
    assert again.revoker.state(7) == {"slip-gate": PROVEN}
    assert 7 not in again.held()


async def test_a_roster_that_still_has_it_does_not_give_it_back() -> None:
    """Left out with a sentence, until it is lifted; then the next run gives it back."""
    house = await ready()
    house.rosters.put(roster(*(entry(serial) for serial in range(1, 11))))
    async with run_in(house):
        await house.revoker.revoke(7, asked_by="Kim", reason="lost")
        await house.clock.settle()
        plan = await house.runner.apply("slip-gate")
        assert 7 not in house.held()
        assert any("0000000007" in sentence and "revoked" in sentence for sentence in plan.left_out)
        await house.revoker.lift(7, asked_by="Kim", reason="found again")
        assert house.revoker.all() == ()
        await house.runner.apply("slip-gate")
        assert 7 in house.held()
        await house.revoker.revoke(7, asked_by="Kim", reason="lost again")
        assert house.revoker.state(7) == {"slip-gate": PENDING}, "an older proof does not count"
        await house.clock.settle()
    assert 7 not in house.held()
    assert len(house.store.journal.all(EventName.REVOCATION_LIFTED)) == 1
    with pytest.raises(NotFound):
        await house.revoker.lift(8, asked_by="Kim", reason="")


async def test_an_older_proof_does_not_count_for_a_new_revocation() -> None:
    """Lifted and revoked anew: pending until the memory has been read again, though the mirror lacks the serial."""
    house = await ready()
    async with run_in(house):
        await house.revoker.revoke(7, asked_by="Kim", reason="lost")
        await house.clock.settle()
        await house.revoker.lift(7, asked_by="Kim", reason="found")
        revocation = await house.revoker.revoke(7, asked_by="Kim", reason="lost again")
        assert revocation.states == {"slip-gate": PENDING}
        await house.clock.settle()
    assert house.revoker.state(7) == {"slip-gate": PROVEN}
    assert len(house.store.journal.all(EventName.REVOCATION_APPLIED)) == 2


async def test_learned_again_at_the_board_it_is_taken_out_again() -> None:
    """The mirror's refresh tells that the slot changed; the revocation answers."""
    house = await ready()
    async with run_in(house):
        await house.revoker.revoke(7, asked_by="Kim", reason="lost")
        await house.clock.settle()
        only(house).board.learn(7, 1, 1)
        await house.keeper.refresh("slip-gate")
        assert 7 in house.held()
        await house.clock.settle()
    assert 7 not in house.held()


async def test_a_slot_that_changed_since_the_mirror_was_read() -> None:
    """The receiver refuses the first frame; the memory is read again and the serial found where it is now."""
    house = await ready()
    only(house).board.learn(7, 2, 2)
    async with run_in(house):
        await house.revoker.revoke(7, asked_by="Kim", reason="lost")
        await house.clock.settle()
    assert house.revoker.state(7) == {"slip-gate": PROVEN}
    assert 7 not in house.held()


@pytest.mark.parametrize("tenths", range(1, 60, 2))
async def test_revoked_while_a_plan_is_being_written(tenths: int) -> None:
    """At whatever frame it comes: the plan still ends as the roster wants, the serial is out and stays out."""
    house = await ready()
    only(house).frame_s = 0.1
    rows = [entry(serial, "2:slip-gate/light") for serial in (*range(1, 11), *range(20, 29))]
    house.rosters.put(roster(*rows))
    async with run_in(house):
        run = asyncio.ensure_future(house.runner.apply("slip-gate", approve=True))
        await house.clock.advance(tenths / 10 + 0.05)
        await house.revoker.revoke(24, asked_by="Kim", reason="lost")  # a newcomer: in the plan, perhaps written
        await house.revoker.revoke(3, asked_by="Kim", reason="lost")  # one whose slot the plan changes
        await house.clock.advance(30)
        plan = await run
    assert plan.state is PlanState.APPLIED
    assert house.held().keys() == {row.serial for row in rows} - {3, 24}
    assert all(state is PROVEN for serial in (3, 24) for state in house.revoker.state(serial).values())
    assert house.store.journal.all(EventName.DRIFT_FOUND) == []


class SlowBulk(FakeReceiver):
    """A plan's write frames wait long for the line; `begun` has when each write was asked for, and its serials."""

    bulk_delay_s = 0.0
    begun: list[tuple[float, frozenset[int]]]

    async def write_slots(
        self, slots: Sequence[Slot], freed: Collection[int], seen: int, *, urgency: Urgency = Urgency.BULK
    ) -> None:
        assert self._clock is not None
        self.begun.append((self._clock.monotonic(), frozenset(slot.serial for slot in slots)))
        if urgency is Urgency.BULK:
            await self._clock.sleep(self.bulk_delay_s)
        await super().write_slots(slots, freed, seen, urgency=urgency)


async def slow_plan(bulk_delay_s: float) -> tuple[SyncHouse, SlowBulk]:
    """Thirty newcomers, serials 20 to 49, for an empty receiver."""
    clock = FakeClock()
    receiver = SlowBulk(clock=clock, limits=quay_receiver().board.limits, slots_per_write=3, frame_s=0.01)
    receiver.begun = []
    receiver.bulk_delay_s = bulk_delay_s
    house = SyncHouse([receiver], clock=clock)
    house.rosters.put(roster(*(entry(serial) for serial in range(20, 50))))
    await clock.run(house.keeper.refresh("slip-gate"))
    return house, receiver


async def test_no_frame_that_begins_after_a_revocation_carries_the_serial() -> None:
    """The plan's later frames are decided anew; the serial is never written and taken out again."""
    house, receiver = await slow_plan(0.0)
    async with run_in(house):
        run = asyncio.ensure_future(house.runner.apply("slip-gate"))
        while not receiver.begun:
            await house.clock.advance(0.01)
        await house.revoker.revoke(40, asked_by="Kim", reason="lost")
        await house.clock.advance(30)
        assert (await run).state is PlanState.APPLIED
    assert all(40 not in serials for _, serials in receiver.begun)
    assert house.held().keys() == set(range(20, 50)) - {40}


async def test_proven_means_that_no_frame_under_way_can_bring_it_back() -> None:
    """A plan's frame that waits for the line when the revocation comes lands before the proof is made."""
    house, receiver = await slow_plan(5.0)
    async with run_in(house):
        run = asyncio.ensure_future(house.runner.apply("slip-gate"))
        while not receiver.begun:
            await house.clock.advance(0.01)
        assert 20 in receiver.begun[0][1]
        await house.revoker.revoke(20, asked_by="Kim", reason="lost")
        while house.revoker.state(20)["slip-gate"] is PENDING:
            await house.clock.advance(0.01)
            assert house.clock.monotonic() < 2000
        was_written = house.clock.monotonic() - receiver.begun[0][0]
        assert was_written > 5.0
        assert 20 not in house.held()
        await house.clock.advance(200)
        assert (await run).state is PlanState.APPLIED
    assert 20 not in house.held()
    assert len(house.store.journal.all(EventName.REVOCATION_APPLIED)) == 1


async def test_the_next_frame_of_a_plan_waits_for_a_revocation() -> None:
    """From the asking to the freed slot: the plan's frame on the wire, then the revocation's."""
    house = await ready()
    only(house).frame_s = 0.1
    house.rosters.put(roster(*(entry(serial) for serial in (*range(1, 11), *range(20, 50)))))
    async with run_in(house):
        run = asyncio.ensure_future(house.runner.apply("slip-gate"))
        while only(house).slot_writes == 0:
            await house.clock.advance(0.05)
        await house.revoker.revoke(3, asked_by="Kim", reason="lost")
        await house.clock.advance(0.35)
        assert 3 not in house.held()
        await house.clock.advance(60)
        assert (await run).state is PlanState.APPLIED


async def test_a_full_disk_does_not_stop_a_revocation() -> None:
    """The ledger has room of its own; the proof is told when the journal has room again."""
    house = await ready()
    async with run_in(house):
        house.store.journal.full = True
        await house.revoker.revoke(7, asked_by="Kim", reason="lost")
        await house.clock.advance(5)
        assert 7 not in house.held()
        assert house.revoker.state(7) == {"slip-gate": PENDING}
        house.store.journal.full = False
        await house.clock.advance(60)
    assert house.revoker.state(7) == {"slip-gate": PROVEN}


async def test_a_ledger_that_cannot_be_written_says_so() -> None:
    """Nothing is promised that would not survive."""
    house = await ready()
    house.store.ledger.full = True
    async with run_in(house):
        with pytest.raises(StoreUnavailable):
            await house.revoker.revoke(7, asked_by="Kim", reason="lost")
        await house.clock.settle()
    assert 7 in house.held()


async def test_another_receiver_in_its_place_is_not_written() -> None:
    """Pending until somebody confirms it; then proven there too."""
    house = await ready()
    only(house).board.replace_with("FQ-0002")
    only(house).board.put(1, some_slot(1, 7), Origin.LINE)
    with pytest.raises(Refused):
        await house.keeper.refresh("slip-gate")
    async with run_in(house):
        await house.revoker.revoke(7, asked_by="Kim", reason="lost")
        await house.clock.advance(60)
        assert only(house).write_frames == 0
        await house.keeper.confirm("slip-gate")
        await house.clock.advance(60)
    assert house.revoker.state(7) == {"slip-gate": PROVEN}
    assert house.held() == {}
