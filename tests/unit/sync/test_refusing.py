"""Saying no to a held plan: kept, told, not asked again by the same roster, and never got round in smaller pieces."""

from __future__ import annotations

import pytest

from gateway.domain.events import EventName
from gateway.domain.plan import Plan, PlanState
from gateway.errors import Refused
from tests.fakes.clock import FakeClock
from tests.fakes.sync_house import SyncHouse, entry, quay_receiver, roster, run_in


async def held_house(keep: int = 4, of: int = 10) -> tuple[SyncHouse, Plan]:
    """Ten transmitters, and a roster that has lost all but some of them."""
    clock = FakeClock()
    house = SyncHouse([quay_receiver(clock=clock)], clock=clock)
    house.rosters.put(roster(*(entry(serial) for serial in range(1, of + 1))))
    await house.runner.apply("slip-gate")
    house.rosters.put(roster(*(entry(serial) for serial in range(1, keep + 1)), digest="d2"))
    held = await house.runner.apply("slip-gate")
    assert held.state is PlanState.HELD
    return house, held


async def names(house: SyncHouse) -> list[EventName]:
    return [event.name for event in await house.store.journal.read(0, limit=1000)]


async def test_a_refused_plan_ends_with_who_and_why_and_is_told() -> None:
    """Durable, an event, and nothing written; it can be neither refused nor approved again."""
    house, held = await held_house()
    before = house.receivers["slip-gate"].board.slots
    refused = await house.runner.decline(held.id, asked_by="harbour office", reason="they stay")
    assert refused.state is PlanState.REFUSED
    assert "Refused by harbour office: they stay." in refused.outcome
    assert await house.store.plans.load(held.id) == refused
    event = (await house.store.journal.read(0, limit=1000))[-1]
    assert (event.name, event.data["plan"], event.data["reason"]) == (EventName.PLAN_REFUSED, held.id, "they stay")
    assert house.receivers["slip-gate"].board.slots == before
    for ask in (house.runner.decline(held.id, asked_by="a", reason="b"), house.runner.approve(held.id, asked_by="a")):
        with pytest.raises(Refused) as again:
            await ask
        assert again.value.code == "plan-not-held"


async def test_the_same_roster_does_not_ask_again_by_itself() -> None:
    """The timetable keeps quiet, also after a restart; additions still go ahead."""
    house, held = await held_house()
    await house.runner.decline(held.id, asked_by="harbour office", reason="they stay")
    for runner in (house.runner, house.restarted().runner):
        again = await runner.apply("slip-gate")
        assert (again.id, again.state) == (held.id, PlanState.REFUSED)
    assert (await names(house)).count(EventName.PLAN_HELD) == 1
    assert len(house.held()) == 10


async def test_somebody_who_asks_has_it_before_them_again() -> None:
    """By hand the roster can be asked for; the plan is held anew and can be approved."""
    house, held = await held_house()
    await house.runner.decline(held.id, asked_by="harbour office", reason="they stay")
    async with run_in(house):
        anew = await house.runner.start("slip-gate", asked_by="harbour office")
        assert anew.state is PlanState.HELD
        assert anew.id != held.id
        await house.runner.approve(anew.id, asked_by="harbour office")
        await house.clock.advance(20)
    assert len(house.held()) == 4


async def test_what_was_refused_does_not_pass_in_a_smaller_share() -> None:
    """New transmitters make the removals less than a fifth of the receiver: they are still not done without a word."""
    house, held = await held_house(keep=7)
    await house.runner.decline(held.id, asked_by="harbour office", reason="they stay")
    more = [entry(serial) for serial in (*range(1, 8), *range(20, 40))]
    house.rosters.put(roster(*more, digest="d3"))
    ended = await house.runner.apply("slip-gate")
    assert ended.state is PlanState.HELD
    assert set(house.held()) == {*range(1, 11), *range(20, 40)}
    assert (await house.runner.preview("slip-gate")).hold


async def test_a_refusal_ends_when_the_roster_was_brought_there() -> None:
    """Taken back and written: a single removal later is a removal like any other."""
    house, held = await held_house()
    await house.runner.decline(held.id, asked_by="harbour office", reason="they stay")
    house.rosters.put(roster(*(entry(serial) for serial in range(1, 13)), digest="d3"))
    assert (await house.runner.apply("slip-gate")).state is PlanState.APPLIED
    house.rosters.put(roster(*(entry(serial) for serial in range(1, 13) if serial != 9), digest="d4"))
    assert (await house.runner.apply("slip-gate")).state is PlanState.APPLIED
    assert 9 not in house.held()
