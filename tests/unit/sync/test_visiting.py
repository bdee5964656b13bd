"""Work in progress: the roster waits, the board is unlocked and locked again, and all of it ends by itself."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from gateway.domain.events import EventName
from gateway.domain.plan import PlanState
from gateway.domain.receiver import Origin
from gateway.domain.visit import Visit, VisitScope, VisitState
from gateway.errors import NotFound, PortUnavailable, Refused, StoreUnavailable
from gateway.ports import VisitOrder
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore
from tests.fakes.sync_house import SLIP_GATE, SyncHouse, entry, quay_receiver, roster, run_in


def a_house(**more: Any) -> SyncHouse:
    """One receiver, nine people in the roster, nothing written yet."""
    clock = FakeClock()
    house = SyncHouse([quay_receiver(clock=clock)], clock=clock, **more)
    house.rosters.put(roster(*(entry(serial) for serial in range(1, 10))))
    return house


def order(**more: Any) -> VisitOrder:
    fields = {"scope": VisitScope.RECEIVER, "name": SLIP_GATE, "minutes": 30, "reason": "aerial", "asked_by": "token:1"}
    return VisitOrder(**{**fields, **more})


async def started(house: SyncHouse, **more: Any) -> Visit:
    return await house.clock.run(house.work.start(order(**more)))


def _locked(house: SyncHouse) -> bool:
    return not house.receivers[SLIP_GATE].board.local_programming


async def _code(house: SyncHouse, work: Any) -> str:
    with pytest.raises((Refused, NotFound)) as caught:
        await house.clock.run(work)
    assert caught.value.remedy
    return caught.value.code


async def test_the_roster_waits_and_is_made_up_afterwards() -> None:
    """Whoever applies by hand is told, the timetable owes it, and it is brought when the visit is over."""
    house = a_house()
    async with run_in(house):
        visit = await started(house)
        assert await _code(house, house.runner.apply(SLIP_GATE)) == "work-in-progress"
        assert await _code(house, house.runner.start(SLIP_GATE, asked_by="x")) == "work-in-progress"
        assert (await house.clock.run(house.runner.preview(SLIP_GATE))).changes
        await house.clock.run(house.runner.apply_all())
        assert house.held() == {}
        assert not house.store.journal.all(EventName.PLAN_FAILED)
        await house.clock.advance(30 * 60 + 60)
        assert house.work.find(visit.id).state is VisitState.ENDED
        assert set(house.held()) == set(range(1, 10))


async def test_a_revocation_goes_through() -> None:
    """A lost transmitter doesn't wait for anybody."""
    house = a_house()
    async with run_in(house):
        assert (await house.clock.run(house.runner.apply(SLIP_GATE))).state is PlanState.APPLIED
        await started(house)
        await house.clock.run(house.revoker.revoke(3, asked_by="token:1", reason="lost"))
        await house.clock.advance(30)
        assert 3 not in house.held()


async def test_it_ends_by_itself_locks_again_and_lists_what_changed() -> None:
    """Also what was changed in its last second; one event for each end, with the list."""
    house = a_house()
    board = house.receivers[SLIP_GATE].board
    board.allow_local_programming(False)
    async with run_in(house):
        await house.clock.run(house.keeper.refresh(SLIP_GATE))
        visit = await started(house, unlock=True)
        assert not _locked(house)
        assert visit.unlocked == (SLIP_GATE,)
        await house.clock.advance(30 * 60 - 1)
        assert board.learn(48_231_907, 1, 1) is not None
        board.change_on_time(2, 17)
        await house.clock.advance(2)
        await house.clock.advance(60)
        ended = house.work.find(visit.id)
        assert _locked(house)
        assert (ended.state, ended.unlocked, ended.ended_by) == (VisitState.ENDED, (), "its time was over")
        told = " / ".join(change.sentence for change in ended.changes)
        assert "transmitter 0048231907 was added" in told
        assert "on-time of output 2 was changed from 5 to 17 s" in told
    (event,) = house.store.journal.all(EventName.VISIT_ENDED)
    assert event.data["still_unlocked"] == []
    assert event.data["changed_count"] == len(ended.changes)


async def test_one_that_was_open_before_stays_open() -> None:
    """Only what was unlocked for it is locked again."""
    house = a_house()
    async with run_in(house):
        visit = await started(house, unlock=True)
        assert visit.unlocked == ()
        await house.clock.run(house.work.end(visit.id, asked_by="token:1"))
        assert not _locked(house)


@pytest.mark.parametrize("reboot", [False, True])
async def test_it_ends_and_locks_over_a_restart(reboot: bool) -> None:
    """What was unlocked is known to the next run; the time goes on while nobody runs."""
    house = a_house()
    house.receivers[SLIP_GATE].board.allow_local_programming(False)
    async with run_in(house):
        visit = await started(house, unlock=True)
    assert not _locked(house)
    await house.clock.advance(20 * 60)
    again = SyncHouse(
        list(house.receivers.values()), clock=house.clock, store=house.store, rosters=house.rosters,
        boot_id="boot-2" if reboot else "boot-1",
    )  # fmt: skip
    assert again.work.visited == {SLIP_GATE}
    async with run_in(again):
        assert await _code(again, again.runner.apply(SLIP_GATE)) == "work-in-progress"
        await again.clock.advance(9 * 60)
        assert not _locked(again)
        await again.clock.advance(2 * 60)
        assert _locked(again)
        assert again.work.find(visit.id).state is VisitState.ENDED


async def test_a_lost_database_leaves_no_board_unlocked() -> None:
    """Killed in the middle of a visit, and started with a new database: the ledger knows what is to be locked."""
    house = a_house()
    receiver = house.receivers[SLIP_GATE]
    receiver.board.allow_local_programming(False)
    async with run_in(house):
        await started(house, unlock=True)
    assert house.store.ledger.unlocked() == {SLIP_GATE}
    fresh = MemoryStore(house.clock)
    fresh.ledger = house.store.ledger
    receiver.link_error = PortUnavailable("The adapter is out.", remedy="Plug it in.")
    again = SyncHouse([receiver], clock=house.clock, store=fresh, rosters=house.rosters, boot_id="boot-2")
    (found,) = again.work.all()
    assert (found.state, found.unlocked) == (VisitState.LOCKING, (SLIP_GATE,))
    assert again.work.visited == frozenset()
    async with run_in(again):
        await again.clock.advance(60)
        assert not _locked(again)
        receiver.link_error = None
        await again.clock.advance(30)
        assert _locked(again)
        assert again.work.find(found.id).state is VisitState.ENDED
    assert fresh.ledger.unlocked() == frozenset()
    later = SyncHouse([receiver], clock=house.clock, store=fresh)
    assert [each.state for each in later.work.all()] == [VisitState.ENDED]


async def test_what_was_never_unlocked_is_not_locked_later() -> None:
    """A full disk between the ledger's line and the visit: the ledger takes it back."""
    house = a_house()
    house.receivers[SLIP_GATE].board.allow_local_programming(False)
    async with run_in(house):
        await started(house)
        ledger, visit = house.store.ledger, house.work.all()[0]
        house.store.journal.full = True
        await house.clock.run(house.work._unlock_one(visit.id, SLIP_GATE))
        assert _locked(house)
        assert ledger.unlocked() == frozenset()


async def test_a_doubtful_clock_makes_it_rather_too_long() -> None:
    """After a restart of the machine nobody knows how late it is: its whole length from the start on, no more."""
    house = a_house()
    async with run_in(house):
        await started(house)
    house.trust.trusted = False
    again = SyncHouse(
        list(house.receivers.values()), clock=house.clock, store=house.store, rosters=house.rosters, boot_id="boot-2"
    )
    again.work._trust = house.trust
    again.work._visits = {key: again.work._rebased(each) for key, each in house.work._visits.items()}
    async with run_in(again):
        await again.clock.advance(29 * 60)
        assert again.work.visited
        await again.clock.advance(2 * 60)
        assert not again.work.visited


async def test_a_receiver_that_is_away_at_the_end_is_locked_when_it_is_back() -> None:
    """The roster no longer waits; the lock is tried until it is proven."""
    house = a_house()
    receiver = house.receivers[SLIP_GATE]
    receiver.board.allow_local_programming(False)
    async with run_in(house):
        visit = await started(house, unlock=True)
        receiver.link_error = PortUnavailable("The adapter is out.", remedy="Plug it in.")
        ended = await house.clock.run(house.work.end(visit.id, asked_by="token:1"))
        assert (ended.state, ended.unlocked, ended.unread) == (VisitState.LOCKING, (SLIP_GATE,), (SLIP_GATE,))
        assert house.work.visited == frozenset()
        (event,) = house.store.journal.all(EventName.VISIT_ENDED)
        assert event.data["still_unlocked"] == [SLIP_GATE]
        receiver.link_error = None
        await house.clock.advance(30)
        assert _locked(house)
        assert house.work.find(visit.id).state is VisitState.ENDED
    assert len(house.store.journal.all(EventName.VISIT_ENDED)) == 1


async def test_a_new_visit_takes_over_what_is_still_to_be_locked() -> None:
    """It is not locked in the middle of the new one, and is locked at its end."""
    house = a_house()
    receiver = house.receivers[SLIP_GATE]
    receiver.board.allow_local_programming(False)
    async with run_in(house):
        first = await started(house, unlock=True)
        receiver.link_error = PortUnavailable("The adapter is out.", remedy="Plug it in.")
        await house.clock.run(house.work.end(first.id, asked_by="token:1"))
        receiver.link_error = None
        second = await started(house, unlock=True)
        assert second.unlocked == (SLIP_GATE,)
        await house.clock.advance(60)
        assert not _locked(house)
        await house.clock.run(house.work.end(second.id, asked_by="token:1"))
        assert _locked(house)


async def test_what_can_not_be_unlocked_is_told() -> None:
    """The visit has begun all the same, and what may have been unlocked is locked at the end."""
    house = a_house()
    receiver = house.receivers[SLIP_GATE]
    receiver.board.allow_local_programming(False)
    receiver.fail(method="write_local_programming", after=True)
    async with run_in(house):
        visit = await started(house, unlock=True)
        assert SLIP_GATE in visit.problems
        assert visit.unlocked == (SLIP_GATE,)
        await house.clock.run(house.work.end(visit.id, asked_by="token:1"))
        assert _locked(house)


@pytest.mark.parametrize(
    ("code", "more"),
    [
        ("no-reason", {"reason": " "}),
        ("visit-length", {"minutes": 0}),
        ("visit-length", {"minutes": 481}),
        ("not-found", {"name": "boathouse"}),
        ("not-found", {"scope": VisitScope.GATE, "name": "boathouse"}),
    ],
)
async def test_what_is_refused(code: str, more: dict[str, Any]) -> None:
    """With what to do instead; nothing has begun."""
    house = a_house()
    assert await _code(house, house.work.start(order(**more))) == code
    assert house.work.all() == ()


async def test_one_at_a_time_and_ended_once() -> None:
    """A second one at the same receiver, and a second end."""
    house = a_house()
    visit = await started(house, scope=VisitScope.SITE, name="")
    assert await _code(house, house.work.start(order())) == "visit-running"
    await house.clock.run(house.work.end(visit.id, asked_by="token:1"))
    assert await _code(house, house.work.end(visit.id, asked_by="token:1")) == "visit-ended"
    assert await _code(house, house.work.end("v-0", asked_by="token:1")) == "not-found"


async def test_it_waits_for_a_plan_that_is_being_written() -> None:
    """Refused until that is done."""
    house = a_house()
    house.receivers[SLIP_GATE].frame_s = 0.5
    async with run_in(house):
        writing = asyncio.ensure_future(house.runner.apply(SLIP_GATE))
        await house.clock.advance(2)
        assert await _code(house, house.work.start(order())) == "plan-running"
        await house.clock.run(writing)


async def test_nothing_begins_that_could_not_be_kept() -> None:
    """A full disk: no visit, and the roster does not wait."""
    house = a_house()
    house.store.journal.full = True
    with pytest.raises(StoreUnavailable):
        await started(house, unlock=True)
    assert house.work.visited == frozenset()


async def test_what_is_seen_meanwhile_is_marked() -> None:
    """Every event of a receiver that people work at has `visit` in its data; before and after they have not."""
    house = a_house()
    board = house.receivers[SLIP_GATE].board
    watching = asyncio.ensure_future(house.watch.run())
    async with run_in(house):
        await house.clock.advance(2)
        board.set_input(1, violated=True)
        await house.clock.advance(2)
        visit = await started(house)
        board.set_input(1, violated=False)
        await house.clock.advance(2)
        await house.clock.run(house.work.end(visit.id, asked_by="token:1"))
        board.set_input(1, violated=True)
        board.close_output(1, origin=Origin.BOARD)
        await house.clock.advance(2)
    watching.cancel()
    await asyncio.gather(watching, return_exceptions=True)
    changed = house.store.journal.all(EventName.INPUT_CHANGED)
    assert [event.data.get("visit", False) for event in changed] == [False, True, False]
