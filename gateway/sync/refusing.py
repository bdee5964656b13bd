"""Saying no to a plan that waits for approval.

A refusal is kept as the plan's end, with who and why. It stands while the roster that asked for it is in force: the
timetable neither asks again nor does it in smaller pieces, and what may go ahead alone still does. Another roster that
takes the same rights away asks anew, whatever its share of the receiver; somebody who asks for the roster themselves
gets the plan before them again.
"""

from __future__ import annotations

from dataclasses import replace

from gateway.domain.events import EventDraft, EventName
from gateway.domain.plan import Change, Plan, PlanState
from gateway.ports import Commit, Journal, Plans

__all__ = ["Refusals", "guarded_serials", "said_no", "same_work"]

_LOOKED_THROUGH = 50


class Refusals:
    """Keeps refusals, and finds the one that still stands."""

    def __init__(self, *, journal: Journal, plans: Plans) -> None:
        self._journal = journal
        self._plans = plans

    async def refuse(self, held: Plan, *, asked_by: str, reason: str) -> Plan:
        """Durable and told when it returns. Raises StoreUnavailable."""
        outcome = f"Refused by {asked_by}: {reason}. Nothing was written; it is not asked again while this roster is "
        plan = replace(held, state=PlanState.REFUSED, outcome=f"{outcome}in force.")
        data = {"plan": plan.id, "asked_by": asked_by, "reason": reason, "roster_digest": plan.roster_digest}
        event = EventDraft(EventName.PLAN_REFUSED, plan.receiver, data)
        await self._journal.commit(Commit(events=(event,), plans=(plan,)))
        return plan

    async def standing(self, plan: Plan) -> Plan | None:
        """The newest refusal of something that this plan would do again, unless the roster was brought there since."""
        for earlier in await self._plans.newest(receiver=plan.receiver, limit=_LOOKED_THROUGH):
            if earlier.state is PlanState.APPLIED and earlier.reason == "roster":
                return None
            if earlier.state is PlanState.REFUSED and earlier.follows_roster:
                return earlier if guarded_serials(earlier.changes) & guarded_serials(plan.changes) else None
        return None


def guarded_serials(changes: tuple[Change, ...]) -> set[int]:
    """Whom the guard protects in these changes."""
    return {change.before.serial for change in changes if change.guarded and change.before is not None}


def same_work(plan: Plan, other: Plan) -> bool:
    """True when the plan does nothing that the other one doesn't do."""
    known = {(change.kind, change.slot, change.before, change.after) for change in other.changes}
    return all((change.kind, change.slot, change.before, change.after) in known for change in plan.changes)


def said_no(refused: Plan, plan: Plan) -> bool:
    """Whether the same roster asks for nothing that was not refused."""
    return refused.roster_digest == plan.roster_digest and same_work(plan, refused)
