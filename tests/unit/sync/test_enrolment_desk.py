"""From a confirmed serial to a row, and to an override that works at once and lasts until the roster has it."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from dataclasses import replace
from typing import Any

import pytest

from gateway.domain.enrolment import EnrolmentWay, Override
from gateway.domain.events import EventDraft, EventName
from gateway.domain.plan import PlanState
from gateway.domain.receiver import Origin
from gateway.domain.roster import Entry, Right, Roster
from gateway.domain.transmitter import BUILT_IN_KINDS, Kind
from gateway.errors import NoAnswer, NotFound, Refused, StoreUnavailable
from gateway.ports import Commit, Enrolled, EnrolmentOrder
from gateway.sync.resuming import resume_plans
from tests.fakes.clock import FakeClock
from tests.fakes.receiver import some_slot
from tests.fakes.sync_house import SyncHouse, entry, quay_receiver

NEW, OTHER = 48231950, 48231951
GATE, HOIST = Right("slip-gate", "1", "gate"), Right("slip-gate", "2", "boat-hoist")


def with_groups(*entries: Entry, digest: str = "d1", **groups: tuple[Right, ...]) -> Roster:
    kinds = {**BUILT_IN_KINDS, "skipper": Kind("skipper", ("1", "2", "1+2"))}
    return Roster(entries, digest, kinds, groups or {"berths": (GATE,), "crew": (GATE, HOIST)})


@asynccontextmanager
async def house_of(*names: str, count: int = 10, house: SyncHouse | None = None) -> AsyncIterator[SyncHouse]:
    """Receivers that hold serials 1 to `count` as the roster says, and every task that has to do with enrolment."""
    if house is None:
        clock = FakeClock()
        receivers = [quay_receiver(name, clock=clock) for name in names or ("slip-gate",)]
        house = SyncHouse(receivers, clock=clock)
        rows = [entry(n, " ".join(f"1:{one.name}/gate" for one in receivers)) for n in range(1, count + 1)]
        house.rosters.put(with_groups(*rows))
        for receiver in receivers:
            for n in range(1, count + 1):
                receiver.board.put(n, replace(some_slot(n, n, name=f"Berth {n}"), kind=4), Origin.LINE)
    for name in house.receivers:
        await house.keeper.refresh(name)
    works = (house.enroller, house.runner, house.override_runs, house.enrolments)
    async with asyncio.TaskGroup() as group:
        tasks = [group.create_task(work.run()) for work in works]
        await house.clock.settle()
        try:
            yield house
        finally:
            for task in tasks:
                task.cancel()


def order(serial: int = NEW, **more: Any) -> EnrolmentOrder:
    return EnrolmentOrder(serial, more.pop("holder", "Berth 40"), **more)


async def complete(house: SyncHouse, *orders: EnrolmentOrder, in_force: bool = False, add: bool = False) -> Enrolled:
    """A typed enrolment for the first order's serial, completed with these."""
    made = await house.enrolments.start("slip-gate", EnrolmentWay.TYPED, serial=orders[0].serial, asked_by="Kim")
    done = await house.enrolments.complete("slip-gate", made.id, orders, in_force=in_force, add=add, asked_by="Kim")
    await house.clock.settle()
    return done


async def refusal(house: SyncHouse, *orders: EnrolmentOrder, **more: Any) -> str:
    with pytest.raises(Refused) as refused:
        await complete(house, *orders, **more)
    return refused.value.code


async def test_a_group_is_joined() -> None:
    """The row names the group; nothing is written without being asked for."""
    async with house_of() as house:
        done = await complete(house, order(group="BERTHS", note="spare"))
        assert done.rows == ("0048231950,Berth 40,,berths,,,,,spare",)
        assert (done.overrides, done.brought, house.receivers["slip-gate"].write_frames) == ((), (), 0)
        assert done.entries[0].rights == (GATE,)


async def test_rights_of_another_holder_are_copied_once() -> None:
    """Written out in the row, with the kind of the transmitter that they come from."""
    async with house_of() as house:
        done = await complete(house, order(like="berth 3"))
        assert done.rows == ("0048231950,Berth 40,four-button,,1:slip-gate/gate,,,,",)
        done = await complete(house, order(like="0000000003"))
        assert done.entries[0].kind == "four-button"


async def test_rights_written_out_are_read_as_in_a_roster() -> None:
    """Names without regard to case; positions that the kind lacks are left out with a word."""
    async with house_of() as house:
        done = await complete(house, order(rights="1:Slip-Gate/gate 4:slip-gate/light", kind="skipper"))
        assert done.rows == ("0048231950,Berth 40,skipper,,1:slip-gate/gate,,,,",)
        (left,) = done.left_out
        assert "no position 4" in left
        done = await complete(house, order(rights="1:slip-gate/gate 1:boathouse/door"))
        assert "boathouse is no receiver of this site" in done.left_out[0]


@pytest.mark.parametrize(
    ("more", "code"),
    [
        ({}, "rights-missing"),
        ({"group": "berths", "like": "Berth 3"}, "rights-missing"),
        ({"group": "nobody"}, "no-such-group"),
        ({"like": "Nobody"}, "no-such-holder"),
        ({"rights": "slip-gate"}, "rights-malformed"),
        ({"rights": "1:slip-gate/door"}, "no-such-output"),
        ({"rights": "5:slip-gate/gate", "kind": "two-button"}, "rights-missing"),
        ({"group": "berths", "kind": "ten-button"}, "no-such-kind"),
        ({"group": "berths", "holder": "  "}, "holder-missing"),
        ({"group": "berths", "holder": "Berth\x0740"}, "text-unfit"),
    ],
)
async def test_what_no_roster_would_take_is_refused_here(more: dict[str, Any], code: str) -> None:
    """Nothing is kept, and the enrolment can be completed with something better."""
    async with house_of() as house:
        made = await house.enrolments.start("slip-gate", EnrolmentWay.TYPED, serial=NEW, asked_by="Kim")
        with pytest.raises(Refused) as refused:
            await house.enrolments.complete(
                "slip-gate", made.id, [order(**more)], in_force=True, add=False, asked_by="Kim"
            )
        assert refused.value.code == code
        assert refused.value.remedy
        assert house.enrolments.overrides() == ()
        await house.enrolments.complete(
            "slip-gate", made.id, [order(group="berths")], in_force=False, add=False, asked_by="Kim"
        )


async def test_a_holder_with_two_sets_of_rights_is_no_model() -> None:
    """One has to say which transmitter."""
    async with house_of() as house:
        crew = replace(entry(20, "2:slip-gate/boat-hoist"), holder="Berth 3")
        house.rosters.put(with_groups(entry(3), crew, digest="d2"))
        assert await refusal(house, order(like="Berth 3")) == "rights-differ"
        assert (await complete(house, order(like="20"))).entries[0].rights == crew.rights


async def test_only_what_was_confirmed_and_only_once() -> None:
    """Other serials, the same one twice, a listed one, and an enrolment that is over."""
    async with house_of() as house:
        assert await refusal(house, order(), order(OTHER)) == "not-confirmed"
        assert await refusal(house, order(), order()) == "not-confirmed"
        assert await refusal(house, order(3, group="berths")) == "serial-known"
        made = await house.enrolments.start("slip-gate", EnrolmentWay.TYPED, serial=NEW, asked_by="Kim")
        await house.clock.advance(1801)
        with pytest.raises(Refused) as refused:
            await house.enrolments.complete(
                "slip-gate", made.id, [order(group="berths")], in_force=False, add=False, asked_by="Kim"
            )
        assert refused.value.code == "enrolment-over"


async def test_in_force_it_works_at_once_and_nobody_else_is_touched() -> None:
    """A proven plan of this one transmitter, behind a snapshot; the roster's own changes wait for their run."""
    async with house_of() as house:
        house.rosters.put(with_groups(*[entry(n) for n in range(2, 11)], digest="d2"))
        done = await complete(house, order(group="crew"), in_force=True)
        (brought,) = done.brought
        assert brought.plan is not None
        plan = await house.store.plans.load(brought.plan.id)
        assert plan is not None
        assert (plan.state, plan.reason, len(plan.changes)) == (PlanState.APPLIED, "enrolment", 1)
        assert plan.snapshot in house.store.snapshots.kept
        assert "Berth 40" in plan.changes[0].words
        held = house.held()
        assert held[NEW] == {1: frozenset({1}), 2: frozenset({3})}
        assert 1 in held, "the removal of the roster is another matter"


async def test_it_stays_until_the_roster_has_it() -> None:
    """No run of the roster takes it out; when the roster lists it the override is over, for good."""
    async with house_of() as house:
        await complete(house, order(group="berths"), in_force=True)
        rows = [entry(n) for n in range(1, 11)]
        await house.runner.apply("slip-gate")
        assert NEW in house.held()
        plan = await house.runner.preview("slip-gate")
        assert any("works by a local override" in words for words in plan.left_out)
        taken_over = replace(entry(NEW, "2:slip-gate/boat-hoist"), holder="Berth 40")
        house.rosters.put(with_groups(*rows, taken_over, digest="d2"))
        await house.store.journal.commit(Commit(events=(EventDraft(EventName.ROSTER_FETCHED),)))
        await house.clock.settle()
        assert house.enrolments.overrides() == ()
        await house.runner.apply("slip-gate")
        assert house.held()[NEW] == {2: frozenset({3})}
        house.rosters.put(with_groups(*rows, digest="d3"))
        await house.runner.apply("slip-gate")
        assert NEW not in house.held()


async def test_a_roster_that_had_it_between_two_looks_has_taken_it_over() -> None:
    """Two rosters may come faster than anybody looks: who was in the first and not in the second is out."""
    async with house_of() as house:
        await complete(house, order(group="berths"), in_force=True)
        rows = [entry(n) for n in range(1, 11)]
        house.rosters.put(with_groups(*rows, entry(NEW), digest="d2"))
        house.rosters.put(with_groups(*rows, digest="d3"))
        await house.store.journal.commit(Commit(events=(EventDraft(EventName.ROSTER_FETCHED),)))
        await house.clock.settle()
        assert house.enrolments.overrides() == ()


async def test_a_roster_that_comes_while_the_override_is_made_takes_it_over() -> None:
    """Its event finds no override yet, and no other comes: the override looks for itself once it is kept."""
    async with house_of() as house:
        keep = house.store.ledger.keep_override

        async def slow(override: Override) -> None:
            rows = [entry(n) for n in range(1, 11)]
            house.rosters.put(with_groups(*rows, entry(NEW), digest="d2"))
            await house.store.journal.commit(Commit(events=(EventDraft(EventName.ROSTER_FETCHED),)))
            await house.clock.settle()
            await keep(override)

        house.store.ledger.keep_override = slow  # type: ignore[method-assign]
        await complete(house, order(group="berths"), in_force=True)
        assert house.enrolments.overrides() == ()


async def test_enrolled_again_after_the_roster_dropped_it_it_is_in_force() -> None:
    """What the roster had before the override was made doesn't end it."""
    async with house_of() as house:
        rows = [entry(n) for n in range(1, 11)]
        house.rosters.put(with_groups(*rows, entry(NEW), digest="d2"))
        house.rosters.put(with_groups(*rows, digest="d3"))
        await complete(house, order(group="berths"), in_force=True)
        await house.store.journal.commit(Commit(events=(EventDraft(EventName.ROSTER_FETCHED),)))
        await house.clock.settle()
        assert [each.serial for each in house.enrolments.overrides()] == [NEW]


async def test_a_joined_group_stays_live() -> None:
    """The group's rights of today count, also for an override."""
    async with house_of() as house:
        await complete(house, order(group="berths"), in_force=True)
        rows = [entry(n) for n in range(1, 11)]
        house.rosters.put(with_groups(*rows, digest="d2", berths=(GATE, HOIST)))
        await house.runner.apply("slip-gate")
        assert house.held()[NEW] == {1: frozenset({1}), 2: frozenset({3})}


async def test_a_revoked_one_gets_its_row_and_stays_out() -> None:
    """And says so; revoked later it is out as everybody else."""
    async with house_of() as house:
        await house.revoker.revoke(NEW, asked_by="Kim", reason="found in the street")
        done = await complete(house, order(group="berths"), in_force=True)
        assert (len(done.rows), done.overrides) == (1, ())
        assert "is revoked and stays out" in done.left_out[0]
        await complete(house, order(OTHER, group="berths"), in_force=True)
        assert OTHER in house.held()
        await house.revoker.revoke(OTHER, asked_by="Kim", reason="lost")
        await house.runner.apply("slip-gate")
        assert OTHER not in house.held()


async def test_an_unreachable_receiver_is_owed_it() -> None:
    """Kept over a restart, brought when the link is restored, and owed no more after that."""
    async with house_of("slip-gate", "car-park") as house:
        house.receivers["car-park"].link_error = NoAnswer("silence")
        rights = "1:slip-gate/gate 1:car-park/gate"
        done = await complete(house, order(rights=rights), in_force=True)
        problems = {each.receiver: each.problem for each in done.brought}
        assert problems["slip-gate"] == ""
        assert problems["car-park"]
        assert NEW in house.held("slip-gate")
        assert NEW not in house.held("car-park")
    house.receivers["car-park"].link_error = None
    restarted = house.restarted()
    async with house_of(house=restarted):
        await restarted.clock.settle()
        assert NEW in restarted.held("car-park")
        slot = next(s.number for s in restarted.receivers["car-park"].board.slots.values() if s.serial == NEW)
        restarted.receivers["car-park"].board.put(slot, None, Origin.BOARD)
        await restarted.store.journal.commit(Commit(events=(EventDraft(EventName.LINK_RESTORED, "car-park"),)))
        await restarted.clock.settle()
        assert NEW not in restarted.held("car-park"), "what was taken away at the board is not given back by this"


async def restored(house: SyncHouse, name: str = "slip-gate") -> None:
    """The link is back, and whatever waited for it is done."""
    house.receivers[name].link_error = None
    await house.store.journal.commit(Commit(events=(EventDraft(EventName.LINK_RESTORED, name),)))
    await house.clock.settle()


async def test_revoked_before_the_receiver_is_back_it_never_comes() -> None:
    """What is owed is filtered by the revocations of that moment, and lifted it is for the roster to bring."""
    async with house_of() as house:
        house.receivers["slip-gate"].link_error = NoAnswer("silence")
        await complete(house, order(group="berths"), in_force=True)
        await house.revoker.revoke(NEW, asked_by="Kim", reason="lost on the way home")
        frames = house.receivers["slip-gate"].write_frames
        await restored(house)
        assert NEW not in house.held()
        assert house.receivers["slip-gate"].write_frames == frames


async def test_what_is_there_already_is_owed_to_nobody() -> None:
    """Learned at the board just so: nothing is written, and unlearned later it is not given back by this."""
    async with house_of() as house:
        slot = replace(some_slot(30, NEW, name="Berth 40"), kind=0)
        house.receivers["slip-gate"].board.put(30, slot, Origin.BOARD)
        await house.keeper.refresh("slip-gate")
        done = await complete(house, order(group="berths"), in_force=True)
        assert done.brought[0].plan is not None
        assert done.brought[0].plan.changes == ()
        house.receivers["slip-gate"].board.put(30, None, Origin.BOARD)
        await restored(house)
        assert NEW not in house.held()


async def test_a_receiver_that_comes_back_gets_it_at_once() -> None:
    """Without a restart and without a run of the roster."""
    async with house_of() as house:
        house.receivers["slip-gate"].link_error = NoAnswer("silence")
        await complete(house, order(group="berths"), in_force=True)
        await restored(house)
        assert NEW in house.held()


async def test_it_needs_no_roster() -> None:
    """On an installer's first day nothing else in the memory is touched."""
    async with house_of() as house:
        house.rosters.in_force = None
        done = await complete(house, order(rights="1:slip-gate/gate"), in_force=True)
        assert done.brought[0].plan is not None
        assert set(house.held()) == {*range(1, 11), NEW}
        assert await refusal(house, order(OTHER, group="berths")) == "no-such-group"


async def test_it_is_guarded_like_every_plan() -> None:
    """Transmitters learned at the board that would lose what they work wait for somebody's word."""
    async with house_of(count=4) as house:
        serials = range(48300001, 48300004)
        for number, serial in enumerate(serials, 20):
            house.receivers["slip-gate"].board.put(
                number, replace(some_slot(number, serial), outputs=(frozenset({1, 2}), frozenset({3}))), Origin.BOARD
            )
        await house.keeper.refresh("slip-gate")
        made = await house.enrolments.start("slip-gate", EnrolmentWay.TYPED, serial=serials[0], asked_by="Kim")
        session = house.enroller._find("slip-gate", made.id)
        heard = made.confirmed[0]
        session.enrolment = replace(made, confirmed=tuple(replace(heard, serial=each) for each in serials))
        orders = [order(each, group="berths", holder=f"Crew {each % 10}") for each in serials]
        done = await house.enrolments.complete("slip-gate", made.id, orders, in_force=True, add=False, asked_by="Kim")
        (brought,) = done.brought
        assert brought.plan is not None
        assert brought.plan.state is PlanState.HELD
        await house.runner.approve(brought.plan.id, asked_by="Kim")
        await house.clock.settle()
        plan = await house.store.plans.load(brought.plan.id)
        assert plan is not None
        assert plan.state is PlanState.APPLIED
        assert house.held()[serials[0]] == {1: frozenset({1})}


async def test_withdrawn_the_next_run_takes_it_out() -> None:
    """And one that doesn't exist is said to be none."""
    async with house_of() as house:
        await complete(house, order(group="berths"), in_force=True)
        await house.enrolments.withdraw(NEW, asked_by="Kim")
        assert house.enrolments.overrides() == ()
        await house.runner.apply("slip-gate")
        assert NEW not in house.held()
        with pytest.raises(NotFound):
            await house.enrolments.withdraw(NEW, asked_by="Kim")


async def test_a_full_disk_keeps_nothing_half() -> None:
    """The ledger comes first; without it nothing is in force."""
    async with house_of() as house:
        made = await house.enrolments.start("slip-gate", EnrolmentWay.TYPED, serial=NEW, asked_by="Kim")
        house.store.ledger.full = True
        with pytest.raises(StoreUnavailable):
            await house.enrolments.complete(
                "slip-gate", made.id, [order(group="berths")], in_force=True, add=False, asked_by="Kim"
            )
        assert house.enrolments.overrides() == ()


class OwnRoster:
    """`ports.RosterAdditions`."""

    def __init__(self) -> None:
        self.added: list[Entry] = []

    async def add_rows(self, entries: Sequence[Entry], *, asked_by: str) -> None:
        self.added += entries


async def test_rows_can_go_into_the_gateways_own_roster() -> None:
    """Where it keeps one; elsewhere that is refused and said."""
    async with house_of() as house:
        assert await refusal(house, order(group="berths"), add=True) == "roster-elsewhere"
        own = OwnRoster()
        house.enrolments.offer(own)
        done = await complete(house, order(group="berths"), add=True)
        assert done.added
        assert [each.serial for each in own.added] == [NEW]


async def test_an_override_works_before_a_running_plan_is_done() -> None:
    """A plan in the way is waited for, and said."""
    async with house_of() as house:
        async with house.runner.turn("slip-gate"):
            done = await complete(house, order(group="berths"), in_force=True)
            assert "as soon as that is done" in done.brought[0].remedy
            assert NEW not in house.held()
        await house.clock.settle()
        assert NEW in house.held()


async def test_a_plan_that_a_restart_has_cut_is_finished() -> None:
    """Durable and not written yet when the gateway stops: the next start brings it, and nothing else."""
    clock = FakeClock()
    house = SyncHouse([quay_receiver(clock=clock)], clock=clock)
    house.rosters.put(with_groups(entry(1)))
    made = await house.enrolments.start("slip-gate", EnrolmentWay.TYPED, serial=NEW, asked_by="Kim")
    await house.enrolments.complete(
        "slip-gate", made.id, [order(group="berths")], in_force=True, add=False, asked_by="Kim"
    )
    assert house.held() == {}
    restarted = house.restarted()
    (plan,) = await resume_plans(
        plans=restarted.store.plans, journal=restarted.store.journal, runner=restarted.runner, ids=restarted.ids,
        site=restarted.site,
    )  # fmt: skip
    assert plan.reason == "enrolment"
    async with house_of(house=restarted):
        await clock.settle()
        assert set(restarted.held()) == {NEW}
        done = await restarted.store.plans.load(plan.id)
        assert done is not None
        assert done.state is PlanState.APPLIED
