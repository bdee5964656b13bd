"""Receivers without a line: what is to be done, ticked by hand, over new rosters, restarts and cuts."""

from __future__ import annotations

import random
from collections.abc import Awaitable
from dataclasses import replace
from datetime import date, timedelta

import pytest

from gateway.domain.events import EventName
from gateway.domain.plan import PlanState
from gateway.domain.revocation import RevocationState
from gateway.domain.roster import Entry
from gateway.domain.visit_sheet import Gesture, LineState
from gateway.errors import NotFound, Refused, StoreUnavailable, Unsupported
from gateway.ports import Holding
from tests.fakes.hand_house import SHED, HandHouse, kept_up
from tests.fakes.sync_house import entry, roster

GATE, HOIST = "1:boat-shed/gate", "2:boat-shed/hoist"
REMOVE, UNLEARN, LEARN = Gesture.REMOVE, Gesture.UNLEARN, Gesture.LEARN


def put(house: HandHouse, *entries: Entry, digest: str = "d1") -> None:
    house.rosters.put(roster(*entries, digest=digest), house.clock.now())


async def shed(*entries: Entry, holds: tuple[int, ...] = (), slots: int = 16) -> HandHouse:
    """A house whose shed holds these serials at position 1 of the gate, and a roster in force."""
    house = HandHouse(slots=slots)
    await house.desk.load()
    put(house, *entries)
    await house.desk.hold(SHED, [Holding(serial, {1: [1]}) for serial in holds], asked_by="token:desk")
    return house


async def test_nothing_is_planned_before_somebody_says_what_it_holds() -> None:
    """The sheet says what to do; a plan is refused; nothing is taken for empty."""
    house = HandHouse()
    await house.desk.load()
    put(house, entry(1, GATE))
    await house.desk.settle_all()
    sheet = house.desk.sheet(SHED)
    assert (sheet.holdings_known, sheet.lines) == (False, ())
    assert "visit-sheet holds boat-shed" in sheet.remedy
    with pytest.raises(Refused, match="Nobody has said") as refused:
        await house.runs.start(SHED, asked_by="token:desk")
    assert refused.value.code == "holdings-unknown"


async def test_the_plan_becomes_lines_in_the_order_of_the_work() -> None:
    """Those who go, those who change, then the new ones, each transmitter taken into the hand once."""
    house = await shed(entry(1, GATE), entry(2, HOIST), entry(5, f"{GATE} {HOIST}"), entry(4, GATE), holds=(1, 2, 3))
    assert list(house.lines().values()) == [
        (REMOVE, 3, 0, 0),
        (UNLEARN, 2, 1, 1),
        (LEARN, 2, 2, 2),
        (LEARN, 4, 1, 1),
        (LEARN, 5, 1, 1),
        (LEARN, 5, 2, 2),
    ]
    words = [line.words for line in house.desk.sheet(SHED).lines]
    assert words[0] == "Take out transmitter 0000000003: position 1 works output 1 (gate)."
    assert words[1] == "Output 1 (gate): unlearn position 1 of transmitter 0000000002 (Berth 2)."
    assert words[5] == "Output 2 (hoist): learn position 2 of transmitter 0000000005 (Berth 5)."


async def test_ticks_make_the_mirror_and_the_plan_ends_unproven() -> None:
    """Each tick is told with who and that it isn't proven; the last one ends the plan."""
    house = await shed(entry(1, GATE), entry(4, GATE), holds=(1, 3))
    plan = await house.runs.start(SHED, asked_by="token:desk")
    assert plan.state is PlanState.PENDING
    assert (await house.store.snapshots.read(plan.snapshot)).receiver == SHED
    first, second = house.lines()
    await house.tick(second)
    assert house.held() == {1: {(1, 1)}, 3: {(1, 1)}, 4: {(1, 1)}}
    assert house.store.plans.kept[plan.id].state is PlanState.APPLYING
    assert house.runs.progress(plan.id) == (1, 2, "on the visit sheet of boat-shed, 1 lines open")
    await house.tick(first)
    assert house.held() == {1: {(1, 1)}, 4: {(1, 1)}}
    ended = house.store.plans.kept[plan.id]
    assert (ended.state, ended.done) == (PlanState.APPLIED, 2)
    assert "not proven" in ended.outcome
    (applied,) = house.store.journal.all(EventName.PLAN_APPLIED)
    assert (applied.data["proven"], applied.data["by_hand"], applied.data["plan"]) == (False, True, plan.id)
    told = house.store.journal.all(EventName.SLOT_CHANGED)
    assert [(e.data["slots"][0]["serial"], e.data["slots"][0]["what"], e.data["done_by"]) for e in told] == [
        ("0000000004", "added", "Barge crew"),
        ("0000000003", "removed", "Barge crew"),
    ]
    assert {(e.data["origin"], e.data["proven"], e.data["asked_by"]) for e in told} == {("board", False, "token:desk")}
    tick = next(line.tick for line in house.desk.sheet(SHED).lines)
    assert tick is not None
    assert (tick.done_by, tick.asked_by, tick.time) == ("Barge crew", "token:desk", house.clock.now())


async def test_a_tick_twice_is_one_tick() -> None:
    """By whom it was first; a phone on a bad network may send it again."""
    house = await shed(entry(1, GATE))
    (number,) = house.lines()
    first = await house.desk.tick(SHED, number, done_by="Barge crew", asked_by="token:desk")
    again = await house.desk.tick(SHED, number, done_by="Harbour office", asked_by="token:other")
    assert again == first
    assert len(house.store.journal.all(EventName.SLOT_CHANGED)) == 1
    with pytest.raises(NotFound):
        await house.desk.tick(SHED, 99, done_by="", asked_by="token:desk")


async def test_unticking_gives_back_what_was_there() -> None:
    """The line is open again under its number; after the end of the plan too, as a new plan."""
    house = await shed(entry(1, GATE), entry(2, f"{GATE} {HOIST}"), holds=(1, 2, 3))
    before = house.held()
    lines = house.lines()
    await house.tick(*lines)
    assert (house.held(), house.lines()) == ({1: {(1, 1)}, 2: {(1, 1), (2, 2)}}, {})
    for number in lines:
        await house.desk.untick(SHED, number, asked_by="token:desk")
    assert (house.held(), house.lines()) == (before, lines)
    states = [plan.state for plan in house.store.plans.kept.values()]
    assert states.count(PlanState.APPLIED) == 1
    await house.tick(*lines)
    assert house.lines() == {}


async def test_a_new_roster_in_the_middle_changes_only_what_is_open() -> None:
    """Ticked lines stay with who and when; what is open and still wanted keeps its number; the rest is withdrawn."""
    house = await shed(entry(1, GATE), entry(2, GATE), entry(3, GATE))
    one, two, three = house.lines()
    await house.tick(one)
    put(house, entry(2, GATE), entry(4, GATE), digest="d2")
    await house.desk.settle_all()
    assert house.lines() == {4: (REMOVE, 1, 0, 0), two: (LEARN, 2, 1, 1), 5: (LEARN, 4, 1, 1)}
    assert house.lines(LineState.TICKED) == {one: (LEARN, 1, 1, 1)}
    assert house.lines(LineState.WITHDRAWN) == {three: (LEARN, 3, 1, 1)}
    plans = sorted(house.store.plans.kept.values(), key=lambda plan: plan.id)
    assert [plan.state for plan in plans] == [PlanState.SUPERSEDED, PlanState.PENDING]
    assert "1 of 3 changes were ticked" in plans[0].outcome
    await house.tick(*house.lines())
    assert house.held() == {2: {(1, 1)}, 4: {(1, 1)}}


async def test_a_withdrawn_line_that_was_done_all_the_same_is_true() -> None:
    """The board holds it, so the mirror does, and the sheet asks for it to be taken out again."""
    house = await shed(entry(1, GATE), entry(2, GATE))
    _, two = house.lines()
    put(house, entry(1, GATE), digest="d2")
    await house.desk.settle_all()
    assert house.lines(LineState.WITHDRAWN) == {two: (LEARN, 2, 1, 1)}
    await house.tick(two)
    assert 2 in house.held()
    assert (REMOVE, 2, 0, 0) in house.lines().values()


async def test_a_line_that_is_wanted_again_keeps_its_number() -> None:
    """Out of the roster and back in: the printed sheet is right again."""
    house = await shed(entry(1, GATE), entry(2, GATE))
    lines = house.lines()
    put(house, entry(1, GATE), digest="d2")
    await house.desk.settle_all()
    put(house, entry(1, GATE), entry(2, GATE), digest="d3")
    await house.desk.settle_all()
    assert house.lines() == lines


async def test_numbers_are_never_given_twice() -> None:
    """Over sheets and restarts; an old sheet's number is refused, never another line's."""
    house = await shed(entry(1, GATE))
    (first,) = house.lines()
    await house.tick(first)
    put(house, entry(1, GATE), entry(2, GATE), digest="d2")
    house = await house.restarted()
    await house.desk.settle_all()
    (second,) = house.lines()
    assert second > first
    assert [line.number for line in house.desk.sheet(SHED).lines] == [second]
    with pytest.raises(NotFound, match="has no line 1"):
        await house.tick(first)


async def test_ticks_survive_a_restart() -> None:
    """Lines, ticks, plan and mirror are what they were, and nothing is told again."""
    house = await shed(entry(1, GATE), entry(2, GATE), holds=(1, 3))
    number = next(iter(house.lines()))
    await house.tick(number)
    sheet, events = house.desk.sheet(SHED), house.store.journal.newest.number
    again = await house.restarted()
    await again.desk.settle_all()
    assert again.desk.sheet(SHED).lines == sheet.lines
    assert again.held() == house.held()
    assert house.store.journal.newest.number == events


@pytest.mark.parametrize("commits", range(4))
async def test_a_full_disk_at_a_tick_loses_nothing_and_invents_nothing(commits: int) -> None:
    """Whichever commit fails: an acknowledged tick is there after a restart, a refused one is not."""
    house = await shed(entry(1, GATE), entry(2, GATE), holds=(3,))
    journal, real = house.store.journal, house.store.journal.commit
    left = commits

    async def failing(commit):  # type: ignore[no-untyped-def]
        nonlocal left
        if left == 0:
            raise StoreUnavailable("full", remedy="Free space.")
        left -= 1
        return await real(commit)

    journal.commit = failing  # type: ignore[method-assign]
    done: list[int] = []
    for number in house.lines():
        try:
            await house.tick(number)
            done.append(number)
        except StoreUnavailable:
            continue
    journal.commit = real  # type: ignore[method-assign]
    again = await house.restarted()
    await again.desk.settle_all()
    assert sorted(again.lines(LineState.TICKED)) == sorted(done)
    await again.tick(*again.lines())
    assert again.held() == {1: {(1, 1)}, 2: {(1, 1)}}


async def test_lines_may_be_ticked_in_any_order() -> None:
    """A new transmitter takes a free slot when the planned one is still taken; in the end the mirror is the roster."""
    wanted = [entry(serial, f"{GATE} {HOIST}") for serial in range(1, 9)]
    for seed in range(8):
        house = await shed(*wanted, entry(12, HOIST), holds=(1, 2, 11, 12), slots=16)
        numbers = list(house.lines())
        random.Random(seed).shuffle(numbers)
        await house.tick(*numbers)
        assert house.held() == {s: {(1, 1), (2, 2)} for s in range(1, 9)} | {12: {(2, 2)}}, f"seed {seed}"
        assert house.lines() == {}


async def test_a_full_memory_asks_for_the_removals_first() -> None:
    """Nothing is taken for learnt where no slot is free."""
    house = await shed(entry(1, GATE), entry(2, GATE), holds=(1, 3), slots=2)
    remove, learn = house.lines()
    with pytest.raises(Refused, match="all 2 slots") as refused:
        await house.tick(learn)
    assert refused.value.code == "memory-full"
    await house.tick(remove, learn)
    assert house.held() == {1: {(1, 1)}, 2: {(1, 1)}}


async def test_a_revocation_is_owed_first_and_ends_by_hand() -> None:
    """Owed at the next visit until ticked, then done by hand; never called proven."""
    house = await shed(entry(1, GATE), entry(2, GATE), holds=(1,))
    made = await house.revoker.revoke(1, asked_by="token:desk", reason="lost")
    assert made.states == {SHED: RevocationState.OWED}
    (pending,) = house.store.journal.all(EventName.REVOCATION_PENDING)
    assert (pending.data["receivers"], pending.data["owed"]) == ([SHED], [SHED])
    await house.desk.settle_all()
    sheet = house.desk.sheet(SHED)
    assert (sheet.lines[0].serial, sheet.lines[0].revoked, sheet.owed) == (1, True, (1,))
    assert "works until this is done" in sheet.lines[0].words
    await house.tick(sheet.lines[0].number)
    assert house.revoker.state(1) == {SHED: RevocationState.BY_HAND}
    assert house.desk.sheet(SHED).owed == ()
    (applied,) = house.store.journal.all(EventName.REVOCATION_APPLIED)
    assert (applied.data["proven"], applied.data["by_hand"], applied.receiver) == (False, True, SHED)
    await house.desk.untick(SHED, sheet.lines[0].number, asked_by="token:desk")
    assert house.revoker.state(1) == {SHED: RevocationState.OWED}
    again = house.store.journal.all(EventName.REVOCATION_PENDING)[-1]
    assert (again.receiver, again.data["owed"], again.data["by_hand"]) == (SHED, [SHED], True)


async def test_a_revocation_stands_on_the_sheet_without_a_roster() -> None:
    """And nothing else is removed then."""
    house = HandHouse()
    await house.desk.load()
    await house.desk.hold(SHED, [Holding(1, {1: [1]}), Holding(2, {1: [1]})], asked_by="token:desk")
    await house.revoker.revoke(2, asked_by="token:desk", reason="lost")
    await house.desk.settle_all()
    assert list(house.lines().values()) == [(REMOVE, 2, 0, 0)]
    assert house.desk.sheet(SHED).problem


async def test_where_nobody_said_what_it_holds_every_revocation_is_owed() -> None:
    """It may hold it."""
    house = HandHouse()
    await house.desk.load()
    assert (await house.revoker.revoke(1, asked_by="x", reason="lost")).states == {SHED: RevocationState.OWED}


async def test_many_removals_are_held_and_the_rest_goes_ahead() -> None:
    """As everywhere (rule 4); once approved they stand on the sheet, and a later roster doesn't hold them again."""
    house = await shed(entry(1, GATE), entry(9, GATE), holds=(1, 2, 3, 4))
    assert list(house.lines().values()) == [(LEARN, 9, 1, 1)]
    held = house.store.plans.kept[house.desk.sheet(SHED).held]
    assert held.state is PlanState.HELD
    await house.desk.settle_all()
    assert len(house.store.journal.all(EventName.PLAN_HELD)) == 1
    await house.tick(*house.lines())
    approved = await house.runs.approve(house.desk.sheet(SHED).held, asked_by="token:desk")
    assert approved.state is PlanState.PENDING
    assert [work[:2] for work in house.lines().values()] == [(REMOVE, 2), (REMOVE, 3), (REMOVE, 4)]
    await house.tick(next(iter(house.lines())))
    put(house, entry(1, GATE), entry(9, GATE), entry(10, GATE), digest="d2")
    await house.desk.settle_all()
    assert [work[:2] for work in house.lines().values()] == [(REMOVE, 3), (REMOVE, 4), (LEARN, 10)]
    await house.tick(*house.lines())
    assert house.held().keys() == {1, 9, 10}


async def test_a_held_plan_that_is_not_wanted_any_more_is_superseded() -> None:
    """The truncated file was put right."""
    everybody = [entry(serial, GATE) for serial in (1, 2, 3, 4)]
    house = await shed(entry(1, GATE), holds=(1, 2, 3, 4))
    held = house.desk.sheet(SHED).held
    put(house, *everybody, digest="d2")
    await house.desk.settle_all()
    assert (house.lines(), house.desk.sheet(SHED).held) == ({}, "")
    assert house.store.plans.kept[held].state is PlanState.SUPERSEDED


async def test_a_date_that_comes_is_on_the_sheet() -> None:
    """Looked at again by itself; a new holder's name alone makes no line."""
    house = await shed(entry(1, GATE, valid_until=date(2026, 3, 3)), entry(2, GATE), holds=(1, 2))
    assert house.lines() == {}
    async with kept_up(house):
        house.clock.step_wall(timedelta(days=2))
        await house.clock.advance(301)
    assert [work[:2] for work in house.lines().values()] == [(REMOVE, 1)]
    mirror = house.store.mirrors.load(SHED)
    assert mirror is not None
    assert {slot.name for slot in mirror.slots.values()} == {"Berth 1", "Berth 2"}


async def test_what_it_holds_is_checked_as_a_whole() -> None:
    """Every fault is named, and nothing is changed."""
    house = await shed(holds=(1,))
    wrong = [Holding(2, {1: [3]}), Holding(3, {9: [1]}), Holding(4, {}), Holding(5, {1: [1]}), Holding(5, {1: [1]})]
    with pytest.raises(Refused) as refused:
        await house.desk.hold(SHED, wrong, asked_by="token:desk")
    assert refused.value.code == "holdings-unfit"
    for words in ("output 3", "position 9", "works nothing", "0000000005 stands twice"):
        assert words in refused.value.message
    assert house.held() == {1: {(1, 1)}}


async def test_what_it_holds_from_a_list_and_from_a_snapshot() -> None:
    """A list in a roster's form, whatever its dates; a snapshot of any receiver that fits."""
    house = await shed()
    listed = roster(entry(1, f"{GATE} {HOIST}", valid_until=date(2020, 1, 1)), entry(2, "1:slip-gate/gate"))
    await house.desk.hold_as(SHED, listed, asked_by="token:desk")
    assert house.held() == {1: {(1, 1), (2, 2)}}
    taken = sorted(house.store.snapshots.kept)[-1]
    await house.desk.hold(SHED, [], asked_by="token:desk")
    assert house.held() == {}
    await house.desk.hold_snapshot(SHED, taken, asked_by="token:desk")
    assert house.held() == {1: {(1, 1), (2, 2)}}


async def test_counting_anew_in_the_middle_keeps_the_ticks_and_plans_from_what_is_there() -> None:
    """What was ticked stays written; the open lines follow what is really held."""
    house = await shed(entry(1, GATE), entry(2, GATE))
    one, two = house.lines()
    await house.tick(one)
    await house.desk.hold(SHED, [Holding(2, {1: [1]})], asked_by="token:desk")
    assert house.lines(LineState.TICKED) == {one: (LEARN, 1, 1, 1)}
    assert list(house.lines().values()) == [(LEARN, 1, 1, 1)]
    assert two not in house.lines()


async def test_a_receiver_with_a_line_has_no_sheet() -> None:
    """And one that isn't there is not found."""
    house = await shed()
    with pytest.raises(NotFound):
        house.desk.sheet("slip-gate")
    house.site = replace(house.site, by_hand=frozenset())
    with pytest.raises(Unsupported):
        await house.site.receivers[SHED].read_status()


@pytest.mark.parametrize("seed", range(6))
async def test_any_visit_ends_at_the_roster(seed: int) -> None:
    """Random rosters, ticks, unticks, restarts and revocations: ticked lines are what the mirror shows, and the last
    sheet, once ticked, leaves the roster."""
    rng = random.Random(seed)
    house = await shed(*_random_rows(rng), holds=tuple(rng.sample(range(1, 12), 4)), slots=12)
    for step in range(40):
        choice = rng.random()
        sheet = house.desk.sheet(SHED)
        ticked = [line.number for line in sheet.lines if line.state is LineState.TICKED]
        if choice < 0.5 and house.lines():
            await _unless_full(house.tick(rng.choice(list(house.lines()))))
        elif choice < 0.65 and ticked:
            await _unless_full(house.desk.untick(SHED, rng.choice(ticked), asked_by="x"))
        elif choice < 0.8:
            put(house, *_random_rows(rng), digest=f"d{step}")
            await house.desk.settle_all()
            after = {line.number: line for line in house.desk.sheet(SHED).lines}
            if house.desk.sheet(SHED).began == sheet.began and after.keys() & set(ticked):
                assert {n: after[n].tick for n in ticked} == {
                    line.number: line.tick for line in sheet.lines if line.number in ticked
                }
        elif choice < 0.9:
            house = await house.restarted()
            assert house.desk.sheet(SHED).lines == sheet.lines
        else:
            await house.revoker.revoke(rng.randint(1, 12), asked_by="x", reason="lost")
            await house.desk.settle_all()
    for _ in range(4):
        if held := house.desk.sheet(SHED).held:
            await house.runs.approve(held, asked_by="x")
        await house.tick(*sorted(house.lines()))
    in_force = house.rosters.in_force
    assert in_force is not None
    revoked = house.store.ledger.revocations()
    wanted = {row.serial for row in in_force.roster.entries if row.serial not in revoked}
    assert house.held().keys() == wanted


def _random_rows(rng: random.Random) -> list[Entry]:
    return [entry(serial, rng.choice([GATE, HOIST, f"{GATE} {HOIST}"])) for serial in rng.sample(range(1, 13), 6)]


async def _unless_full(work: Awaitable[object]) -> None:
    """A memory without room says so; any other refusal is a fault."""
    try:
        await work
    except Refused as refused:
        if refused.code != "memory-full":
            raise
