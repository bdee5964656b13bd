"""Plans on request: previews, holds and approvals, work in the background, restarts, many receivers."""

from __future__ import annotations

import asyncio
from datetime import UTC, date, datetime

import pytest

from gateway.domain.events import EventDraft, EventName
from gateway.domain.plan import ChangeKind, PlanState
from gateway.domain.receiver import Capability, Origin
from gateway.errors import LineError, NoAnswer, NotFound, Refused, Unsupported
from gateway.ports import Commit
from gateway.sync.resuming import resume_plans
from tests.fakes.clock import FakeClock
from tests.fakes.receiver import FakeReceiver, some_slot
from tests.fakes.sync_house import SyncHouse, entry, quay_receiver, roster, run_in


def house_with(count: int, *names: str) -> SyncHouse:
    """Receivers that hold serials 1 to `count`, each on the slot of its number, all opening the gate."""
    clock = FakeClock()
    receivers = [quay_receiver(name, clock=clock) for name in names or ("slip-gate",)]
    for receiver in receivers:
        for number in range(1, count + 1):
            receiver.board.put(number, some_slot(number, number, name=f"Berth {number}"), Origin.LINE)
    return SyncHouse(receivers, clock=clock)


def only(house: SyncHouse) -> FakeReceiver:
    return house.receivers["slip-gate"]


async def resume(house: SyncHouse) -> None:
    await resume_plans(
        plans=house.store.plans, journal=house.store.journal, runner=house.runner, ids=house.ids, site=house.site
    )


async def test_a_preview_writes_and_keeps_nothing() -> None:
    """Only the mirror is brought up to date."""
    house = house_with(10)
    house.rosters.put(roster(*(entry(serial) for serial in range(1, 12))))
    plan = await house.runner.preview("slip-gate")
    assert (plan.state, plan.count(ChangeKind.ADDED), plan.unchanged) == (PlanState.PREVIEW, 1, 10)
    assert only(house).write_frames == 0
    assert house.store.plans.kept == {}
    assert house.store.snapshots.kept == {}


async def test_without_a_roster_nothing_is_planned() -> None:
    """Refused, and the receiver's people stay."""
    house = house_with(3)
    with pytest.raises(Refused) as refused:
        await house.runner.apply("slip-gate")
    assert refused.value.code == "no-roster"
    assert len(house.held()) == 3


async def test_unknown_and_slotless_receivers() -> None:
    """A name that isn't there, and a plain relay board."""
    house = house_with(1)
    with pytest.raises(NotFound, match="slip-gate"):
        await house.runner.apply("boat-house")
    board = FakeReceiver("pump", capabilities=frozenset({Capability.SETTINGS}), clock=house.clock)
    with pytest.raises(Unsupported):
        await SyncHouse([board], clock=house.clock).runner.start("pump", asked_by="Kim")


async def test_a_full_receiver_is_refused_whole() -> None:
    """1025 on 1024, in small: nothing is written, and the message says how many too many."""
    house = house_with(0)
    house.rosters.put(roster(*(entry(serial) for serial in range(1, 67))))
    with pytest.raises(Refused, match="2 transmitters too many"):
        await house.runner.apply("slip-gate")
    assert only(house).write_frames == 0


async def test_removals_are_held_and_the_rest_goes_ahead() -> None:
    """Four of ten go: held. The newcomer works at once; nobody loses anything until somebody approves."""
    house = house_with(10)
    house.rosters.put(roster(*(entry(serial) for serial in (*range(1, 7), 20))))
    held = await house.runner.apply("slip-gate")
    assert held.state is PlanState.HELD
    assert set(house.held()) == {*range(1, 11), 20}
    (event,) = house.store.journal.all(EventName.PLAN_HELD)
    assert (event.data["plan"], event.data["removed"]) == (held.id, 4)
    ahead = next(plan for plan in house.store.plans.kept.values() if plan.reason == "additions")
    assert ahead.state is PlanState.APPLIED
    assert any("waits for approval" in sentence for sentence in ahead.left_out)
    async with run_in(house):
        begun = await house.runner.approve(held.id, asked_by="Kim")
        assert begun.state is PlanState.PENDING
        await house.clock.settle()
    assert set(house.held()) == {*range(1, 7), 20}
    assert house.store.plans.kept[held.id].state is PlanState.APPLIED
    assert house.store.journal.all(EventName.PLAN_APPLIED)[-1].data["asked_by"] == "Kim"


async def test_a_hold_is_told_once_and_kept_while_the_receiver_grows() -> None:
    """The same removals in later runs: the same plan, no new event, even when they are below the share by then."""
    house = house_with(14)
    house.rosters.put(roster(*(entry(serial) for serial in range(1, 12))))
    held = await house.runner.apply("slip-gate")
    assert (await house.runner.apply("slip-gate")).id == held.id
    house.rosters.put(roster(*(entry(serial) for serial in (*range(1, 12), *range(30, 45))), digest="d2"))
    again = await house.runner.apply("slip-gate")
    assert again.state is PlanState.HELD
    assert (await house.runner.apply("slip-gate")).id == again.id, "3 of 29 are below the share, and held they stay"
    assert {12, 13, 14} <= house.held().keys()
    assert len(house.held()) == 29
    assert len(house.store.journal.all(EventName.PLAN_HELD)) == 1
    assert [p.id for p in house.store.plans.kept.values() if p.state is PlanState.HELD] == [again.id]


async def test_a_hold_ends_when_the_roster_wants_them_back() -> None:
    """The mistake is corrected in the file: the held plan is superseded and nobody was touched."""
    house = house_with(10)
    house.rosters.put(roster(entry(1)))
    held = await house.runner.apply("slip-gate")
    house.rosters.put(roster(*(entry(serial) for serial in range(1, 11)), digest="d2"))
    plan = await house.runner.apply("slip-gate")
    assert (plan.state, plan.changes) == (PlanState.APPLIED, ())
    assert house.store.plans.kept[held.id].state is PlanState.SUPERSEDED
    assert only(house).write_frames == 0


async def test_approving_something_else_than_what_was_shown_is_refused() -> None:
    """The roster changed since: a new plan is held, and the answer names it."""
    house = house_with(10)
    house.rosters.put(roster(*(entry(serial) for serial in range(1, 7))))
    held = await house.runner.apply("slip-gate")
    house.rosters.put(roster(*(entry(serial) for serial in range(1, 4)), digest="d2"))
    with pytest.raises(Refused) as refused:
        await house.runner.approve(held.id, asked_by="Kim")
    assert refused.value.code == "plan-changed"
    waiting = [plan for plan in house.store.plans.kept.values() if plan.state is PlanState.HELD]
    assert len(waiting) == 1
    assert waiting[0].id in refused.value.remedy
    assert waiting[0].count(ChangeKind.REMOVED) == 7
    assert len(house.held()) == 10
    with pytest.raises(Refused) as gone:
        await house.runner.approve(held.id, asked_by="Kim")
    assert gone.value.code == "plan-not-held"
    with pytest.raises(NotFound):
        await house.runner.approve("p000000000", asked_by="Kim")


async def test_approved_in_the_same_breath() -> None:
    """`apply` with approval writes what the guard would hold."""
    house = house_with(10)
    house.rosters.put(roster(entry(1)))
    plan = await house.runner.apply("slip-gate", approve=True)
    assert plan.state is PlanState.APPLIED
    assert set(house.held()) == {1}


async def test_endings_by_an_accepted_date_are_not_held() -> None:
    """The season ends for all but one on a date that the accepted roster has said all along."""
    house = house_with(10)
    season = [entry(serial, valid_until=date(2026, 3, 1)) for serial in range(2, 11)]
    house.rosters.put(roster(entry(1), *season), accepted=datetime(2026, 1, 1, tzinfo=UTC))
    assert (await house.runner.apply("slip-gate")).state is PlanState.APPLIED
    assert set(house.held()) == {1}


async def test_a_new_file_that_ends_everybody_yesterday_is_held() -> None:
    """The same dates in a file that was accepted after them are a removal like any other."""
    house = house_with(10)
    season = [entry(serial, valid_until=date(2026, 2, 20)) for serial in range(2, 11)]
    house.rosters.put(roster(entry(1), *season), accepted=datetime(2026, 3, 2, tzinfo=UTC))
    assert (await house.runner.apply("slip-gate")).state is PlanState.HELD
    assert len(house.held()) == 10


async def test_an_untrusted_clock_grants_and_ends_nothing_by_date() -> None:
    """Rows without dates are brought; rows with dates stay as the memory has them; then it catches up."""
    house = house_with(3)
    rows = [
        entry(1),
        entry(2, valid_until=date(2020, 1, 1)),
        entry(3, "2:slip-gate/light", valid_from=date(2020, 1, 1)),
        entry(4, valid_from=date(2020, 1, 1)),
        entry(5),
    ]
    house.rosters.put(roster(*rows), accepted=datetime(2019, 1, 1, tzinfo=UTC))
    house.trust.trusted = False
    async with run_in(house):
        plan = await house.runner.apply("slip-gate")
        assert house.held() == {serial: {1: frozenset({1})} for serial in (1, 2, 3, 5)}
        assert sum("clock" in sentence for sentence in plan.left_out) == 3
        house.trust.trusted = True
        await house.store.journal.commit(Commit(events=(EventDraft(EventName.CLOCK_TRUSTED),)))
        await house.clock.settle()
    assert house.held() == {
        1: {1: frozenset({1})},
        3: {2: frozenset({2})},
        4: {1: frozenset({1})},
        5: {1: frozenset({1})},
    }


async def test_started_in_the_background_one_at_a_time() -> None:
    """The durable plan comes back at once, shows its progress, and a second start is refused meanwhile."""
    house = house_with(5)
    only(house).frame_s = 0.05
    house.rosters.put(roster(*(entry(serial) for serial in range(1, 20))))
    async with run_in(house):
        plan = await house.clock.run(house.runner.start("slip-gate", asked_by="Kim"))
        assert plan.state is PlanState.PENDING
        assert house.store.plans.saved[0] == plan
        await house.clock.advance(0.3)
        progress = house.runner.progress(plan.id)
        assert progress is not None
        assert 0 < progress[0] < progress[1] == 14
        with pytest.raises(Refused) as refused:
            await house.runner.start("slip-gate", asked_by="Lee")
        assert refused.value.code == "plan-running"
        await house.clock.advance(60)
        assert house.runner.progress(plan.id) is None
        assert house.store.plans.kept[plan.id].state is PlanState.APPLIED
        nothing = await house.clock.run(house.runner.start("slip-gate", asked_by="Lee"))
        assert nothing.state is PlanState.APPLIED
        assert house.store.plans.kept[nothing.id] == nothing


async def test_a_start_that_fails_leaves_the_receiver_free() -> None:
    """Not reachable: the error is raised and the next start works."""
    house = house_with(2)
    house.rosters.put(roster(entry(1), entry(2), entry(3)))
    only(house).link_error = NoAnswer("silence")
    async with run_in(house):
        with pytest.raises(NoAnswer):
            await house.runner.start("slip-gate", asked_by="Kim")
        only(house).link_error = None
        await house.runner.start("slip-gate", asked_by="Kim")
        await house.clock.settle()
    assert set(house.held()) == {1, 2, 3}


async def test_a_dead_receiver_delays_nobody_and_is_brought_up_when_it_returns() -> None:
    """Its neighbours are done; it gets what it is owed at link.restored."""
    house = house_with(2, "slip-gate", "car-park")
    rows = [entry(serial, "1:slip-gate/gate 1:car-park/gate") for serial in (1, 2, 3)]
    house.rosters.put(roster(*rows))
    only(house).link_error = NoAnswer("silence")
    async with run_in(house):
        ended = await house.runner.apply_all()
        assert isinstance(ended["slip-gate"], LineError)
        assert set(house.held("car-park")) == {1, 2, 3}
        only(house).link_error = None
        await house.store.journal.commit(Commit(events=(EventDraft(EventName.LINK_RESTORED, "slip-gate"),)))
        await house.clock.settle()
    assert set(house.held()) == {1, 2, 3}


async def test_what_keeps_the_timetable_from_making_a_plan_is_told_once() -> None:
    """A full receiver: the reason and what to do, once for all runs, and again only when it returns."""
    house = house_with(0)
    house.rosters.put(roster(*(entry(serial) for serial in range(1, 67))))
    for _ in range(3):
        await house.runner.apply_all()
    (event,) = house.store.journal.all(EventName.PLAN_FAILED)
    assert (event.receiver, event.data["code"]) == ("slip-gate", "receiver-full")
    assert event.data["remedy"]
    house.rosters.put(roster(entry(1), digest="d2"))
    await house.runner.apply_all()
    house.rosters.put(roster(*(entry(serial) for serial in range(1, 67)), digest="d3"))
    await house.runner.apply_all()
    assert len(house.store.journal.all(EventName.PLAN_FAILED)) == 2


async def test_reading_the_memory_first_shows_progress() -> None:
    """A receiver that was never read takes as long as its memory; people see that something goes on."""
    house = house_with(3)
    house.rosters.put(roster(*(entry(serial) for serial in range(1, 5))))
    words: list[str] = []
    await house.runner.apply("slip-gate", progress=lambda done, total, what: words.append(what))
    assert "reading" in words[0]
    assert "is added" in words[-1]


RESTART_ROWS = [entry(serial, "2:slip-gate/light") for serial in (*range(1, 15), *range(30, 36))]


async def cut_at(frames: int) -> tuple[SyncHouse, bool]:
    """Fourteen changed, three gone, six new; the gateway is killed in its n-th frame. True when it was still at it."""
    house = house_with(17)
    only(house).frame_s = 0.1
    house.rosters.put(roster(*RESTART_ROWS))
    task = asyncio.ensure_future(house.runner.apply("slip-gate", approve=True))
    await house.clock.advance(frames * 0.1 + 0.05)
    was_running = not task.done()
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
    return house, was_running


async def cuts_within_a_plan() -> list[int]:
    """The frames at which there is a durable plan that is not done."""
    frames = 0
    found: list[int] = []
    while True:
        house, was_running = await cut_at(frames)
        if not was_running:
            return found
        if await house.store.plans.unfinished():
            found.append(frames)
        frames += 1


async def test_a_restart_at_any_frame_carries_the_plan_on() -> None:
    """SIGKILL in the middle: after the restart the same end, no slot written again, and nothing called drift."""
    cuts = await cuts_within_a_plan()
    assert len(cuts) > 12
    for frames in cuts:
        house, _ = await cut_at(frames)
        again = house.restarted()
        async with run_in(again):
            await resume(again)
            await again.clock.advance(30)
        assert again.held().keys() == {row.serial for row in RESTART_ROWS}, frames
        assert only(house).slot_writes == 20, frames
        assert [plan.state for plan in again.store.plans.kept.values()] == [PlanState.APPLIED], frames
        assert again.store.journal.all(EventName.DRIFT_FOUND) == [], frames
        changes = [slot for event in again.store.journal.all(EventName.SLOT_CHANGED) for slot in event.data["slots"]]
        assert len(changes) == 20, f"every change is told once, also when cut at frame {frames}"


async def test_after_a_restart_a_newer_roster_takes_the_place_of_a_cut_plan() -> None:
    """Planned again against the roster in force now; the old plan is superseded."""
    house, _ = await cut_at((await cuts_within_a_plan())[7])
    (cut,) = await house.store.plans.unfinished()
    assert only(house).slot_writes > 0
    house.rosters.put(roster(*(entry(serial) for serial in range(1, 18)), digest="d2"))
    again = house.restarted()
    async with run_in(again):
        await resume(again)
        await again.clock.advance(30)
    assert again.store.plans.kept[cut.id].state is PlanState.SUPERSEDED
    newest = (await again.store.plans.newest())[0]
    assert newest.roster_digest == "d2"
    assert newest.id > cut.id
    assert newest.state in (PlanState.APPLIED, PlanState.HELD)


async def test_a_held_plan_waits_through_a_restart() -> None:
    """Approved by the next life of the gateway."""
    house = house_with(10)
    house.rosters.put(roster(*(entry(serial) for serial in range(1, 7))))
    held = await house.runner.apply("slip-gate")
    again = house.restarted()
    async with run_in(again):
        await resume(again)
        await again.runner.approve(held.id, asked_by="Kim")
        await again.clock.settle()
    assert set(again.held()) == set(range(1, 7))


async def test_a_replaced_receiver_is_not_written_until_it_is_confirmed() -> None:
    """Another serial answers on the same line: refused, nothing written; confirmed, the roster is brought to it."""
    house = house_with(5)
    house.rosters.put(roster(*(entry(serial) for serial in range(1, 6))))
    await house.runner.apply("slip-gate")
    only(house).board.replace_with("FQ-0002")
    with pytest.raises(Refused) as refused:
        await house.runner.apply("slip-gate")
    assert refused.value.code == "receiver-unconfirmed"
    assert only(house).write_frames == 0
    await house.keeper.confirm("slip-gate")
    assert (await house.runner.apply("slip-gate")).state is PlanState.APPLIED
    assert set(house.held()) == set(range(1, 6))
