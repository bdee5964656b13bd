"""The plan that a visit sheet carries out: taken up, followed tick by tick, superseded or done.

Its changes are fixed when it is taken up; how many are done is read off the mirror. It goes on for as long as what
is left of it is what is to be done; else another takes its place, and what was ticked stays ticked.
"""

from __future__ import annotations

from dataclasses import replace

from gateway.domain.mirror import Mirror
from gateway.domain.plan import Plan, PlanState
from gateway.ports import Archive, Commit, Journal, Plans
from gateway.sync.by_hand.lines import pairs_of, targets_by_serial
from gateway.sync.by_hand.outlook import Outlook
from gateway.sync.by_hand.telling import applied_event

__all__ = ["UnderWay"]


class UnderWay:
    """The newest plan of each receiver without a line. The caller sees to one change at a time for each."""

    def __init__(self, *, journal: Journal, plans: Plans, archive: Archive) -> None:
        self._journal = journal
        self._plans = plans
        self._archive = archive
        self._newest: dict[str, Plan] = {}

    async def load(self, receiver: str, plan_id: str) -> None:
        """Go on with a plan after a restart. Raises StoreDamaged."""
        plan = await self._plans.load(plan_id)
        if plan is not None:
            self._newest[receiver] = plan

    def of(self, receiver: str) -> Plan | None:
        """The newest plan, which may have ended."""
        return self._newest.get(receiver)

    async def take_up(self, receiver: str, plan: Plan) -> None:
        """This plan from now on. Raises StoreUnavailable."""
        older = self.of(receiver)
        plans: tuple[Plan, ...] = (plan,)
        if older is not None and not older.state.is_final and older.id != plan.id:
            plans = (replace(older, state=PlanState.SUPERSEDED, outcome=f"{plan.id} took its place."), plan)
        await self._journal.commit(Commit(plans=plans))
        self._newest[receiver] = plan

    async def follow(self, receiver: str, mirror: Mirror, outlook: Outlook) -> None:
        """Go on with the plan while it still is the work; else take up another, behind a snapshot."""
        plan = self.of(receiver)
        if plan is not None and not plan.state.is_final:
            if _is_still_the_work(plan, outlook, mirror):
                await self._note_progress(receiver, plan, mirror, outlook)
                return
            outcome = f"{plan.done} of {len(plan.changes)} changes were ticked; then something else was wanted."
            plan = replace(plan, state=PlanState.SUPERSEDED, outcome=outcome)
            await self._journal.commit(Commit(plans=(plan,)))
            self._newest[receiver] = plan
        if outlook.plan is not None and outlook.changes:
            snapshot = await self._archive.take(receiver, mirror, reason="plan", status=None)
            await self.take_up(receiver, replace(outlook.plan, state=PlanState.PENDING, snapshot=snapshot.id))

    async def _note_progress(self, receiver: str, plan: Plan, mirror: Mirror, outlook: Outlook) -> None:
        done = _done(plan, mirror)
        if not outlook.changes:
            outcome = f"{done} changes were ticked as done by hand; not proven."
            ended = replace(plan, state=PlanState.APPLIED, done=done, outcome=outcome)
            await self._journal.commit(Commit(events=(applied_event(ended),), plans=(ended,)))
        elif done != plan.done:
            ended = replace(plan, state=PlanState.APPLYING if done else PlanState.PENDING, done=done)
            await self._journal.commit(Commit(plans=(ended,)))
        else:
            return
        self._newest[receiver] = ended


def _is_still_the_work(plan: Plan, outlook: Outlook, mirror: Mirror) -> bool:
    """Whether what is left of this plan is what is to be done now, and all of it."""
    targets, wanted = targets_by_serial(plan.changes), targets_by_serial(outlook.changes)
    return wanted.keys() <= targets.keys() and all(
        pairs == wanted.get(serial, pairs_of(mirror, serial)) for serial, pairs in targets.items()
    )


def _done(plan: Plan, mirror: Mirror) -> int:
    """How many changes the ticks have brought about."""
    targets = targets_by_serial(plan.changes)
    met = {serial for serial, pairs in targets.items() if pairs_of(mirror, serial) == pairs}
    return sum(1 for change in plan.changes if (slot := change.after or change.before) and slot.serial in met)
