"""Plans: durable with all target values, written once, found newest first."""

from __future__ import annotations

import dataclasses
from collections.abc import Awaitable, Callable

import pytest

from gateway.domain.plan import Plan, PlanState
from gateway.errors import StoreDamaged
from gateway.ports import Commit
from gateway.store.opening import Store
from tests.fakes.store_samples import a_plan, both_lives

Opener = Callable[[], Awaitable[Store]]


async def keep(store: Store, *plans: Plan) -> None:
    await store.journal.commit(Commit(plans=plans))


async def test_a_plan_comes_back_as_it_stands(store: Store, reopen: Opener) -> None:
    """All target values, its state and its outcome, also after a restart."""
    plan = dataclasses.replace(a_plan(), state=PlanState.FAILED, done=1, outcome="no answer", snapshot="s1")
    await keep(store, a_plan())
    await keep(store, plan)
    async for opened in both_lives(store, reopen):
        assert await opened.plans.load("p1") == plan
        assert await opened.plans.load("p2") is None
        assert await opened.plans.unfinished() == ()


async def test_newest_first_by_receiver_and_page(store: Store) -> None:
    """The order is that of first saving; saving again moves nothing."""
    plans = [a_plan(f"p{n}", "slip-gate" if n % 2 else "car-park") for n in range(1, 7)]
    await keep(store, *plans)
    await keep(store, dataclasses.replace(plans[0], done=1))

    async def ids(receiver: str | None = None, limit: int = 50, before: str | None = None) -> list[str]:
        return [plan.id for plan in await store.plans.newest(receiver=receiver, limit=limit, before=before)]

    assert await ids() == ["p6", "p5", "p4", "p3", "p2", "p1"]
    assert await ids(limit=2) == ["p6", "p5"]
    assert await ids(limit=2, before="p5") == ["p4", "p3"]
    assert await ids("slip-gate", before="p5") == ["p3", "p1"]
    assert await ids(before="nothing") == []


async def test_unfinished_plans_oldest_first(store: Store) -> None:
    """What has to be resumed after a start, in order; final ones are not among them."""
    await keep(store, *(a_plan(f"p-{state.value}", state=state) for state in PlanState))
    found = [plan.state for plan in await store.plans.unfinished()]
    assert found == [PlanState.HELD, PlanState.PENDING, PlanState.APPLYING]


async def test_progress_does_not_write_the_changes_again(store: Store) -> None:
    """The body of a plan is written once, however often progress is saved."""
    await keep(store, a_plan())
    await store._database.write(
        lambda db: db.execute(
            "create temp trigger again before insert on plan_bodies begin select raise(fail, 'again'); end"
        )
    )
    await keep(store, dataclasses.replace(a_plan(), state=PlanState.APPLYING, done=1))
    found = await store.plans.load("p1")
    assert found is not None
    assert (found.done, found.state) == (1, PlanState.APPLYING)


async def test_a_plan_that_is_planned_again_has_its_new_changes(store: Store) -> None:
    """Other changes under the same id replace the old ones."""
    await keep(store, a_plan())
    again = dataclasses.replace(a_plan(), changes=a_plan().changes[:1], base_revision=8)
    await keep(store, again)
    assert await store.plans.load("p1") == again


async def test_a_plan_that_no_longer_reads_is_damage(store: Store) -> None:
    """Target values that may be wrong are not applied."""
    await keep(store, a_plan())
    await store._database.write(lambda db: db.execute("update plan_bodies set body = '{}'"))
    with pytest.raises(StoreDamaged):
        await store.plans.load("p1")
