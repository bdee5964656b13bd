"""Plans that a restart has cut: finished, or superseded by something newer.

A held plan goes on waiting for its approval, one that is carried out by hand for whoever goes there. Of several
unfinished plans for one receiver only the newest is carried on. What the cut has left in the memory is found by the
application itself (`takeover`).
"""

from __future__ import annotations

from dataclasses import replace

from gateway.domain.plan import Plan, PlanState
from gateway.ports import Commit, Journal, Plans
from gateway.sync.plan_ids import PlanIds
from gateway.sync.runner import SyncRunner
from gateway.sync.site import Site

__all__ = ["resume_plans"]


async def resume_plans(
    *, plans: Plans, journal: Journal, runner: SyncRunner, ids: PlanIds, site: Site
) -> tuple[Plan, ...]:
    """At start, once the roster in force is loaded: hand unfinished plans to the runner; returns those.

    Raises StoreUnavailable when the older ones can't be marked as superseded.
    """
    for newest in await plans.newest(limit=1):
        ids.follow(newest.id)
    last: dict[str, Plan] = {}
    superseded: list[Plan] = []
    for plan in await plans.unfinished():
        if plan.state is PlanState.HELD or plan.receiver in site.by_hand:
            continue
        if plan.receiver not in site.names_with_slots():
            superseded.append(_ended(plan, "Its receiver is no longer in the settings."))
            continue
        if plan.receiver in last:
            superseded.append(_ended(last[plan.receiver], f"{plan.id} took its place."))
        last[plan.receiver] = plan
    if superseded:
        await journal.commit(Commit(plans=tuple(superseded)))
    for plan in last.values():
        runner.carry_on(plan)
    return tuple(last.values())


def _ended(plan: Plan, outcome: str) -> Plan:
    return replace(plan, state=PlanState.SUPERSEDED, outcome=outcome)
