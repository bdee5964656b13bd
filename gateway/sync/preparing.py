"""From a receiver to the next plan for it, durable and ready to be written, held or with nothing to do.

The mirror is refreshed, the plan drafted and put before the guard. What is held is kept as held: once, and it stays
held though later additions make its share smaller, until it is approved or the roster no longer wants it. What may go
ahead alone becomes a plan of its own. A snapshot precedes every plan that writes (rule 1 of the design).
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass, replace

from gateway.domain.events import EventDraft, EventName
from gateway.domain.mirror import Mirror
from gateway.domain.plan import ChangeKind, Plan, PlanState
from gateway.domain.receiver import Status
from gateway.domain.urgency import Urgency
from gateway.errors import NotFound, Refused
from gateway.ports import Archive, Commit, Journal, LiveView, MirrorKeeper, Plans, Progress
from gateway.sync.drafting import Drafter
from gateway.sync.receipting import NoReceipts, Receipting
from gateway.sync.refusing import Refusals, guarded_serials, said_no, same_work
from gateway.sync.words import plan_counts, plan_summary

__all__ = ["ADDITIONS", "Prepared", "Preparer"]

ADDITIONS = "additions"
"""The reason of a plan that goes ahead of a held one."""


_LOOKED_THROUGH = 50
_WRITTEN = frozenset({PlanState.APPLIED, PlanState.APPLYING, PlanState.PENDING})


@dataclass(frozen=True, slots=True)
class Prepared:
    """A plan that is PENDING (durable, to be written from `mirror`), HELD, REFUSED, or APPLIED because nothing differs.

    `hold` is why the rest of it waits; it goes into the next preparation of the same run.
    """

    plan: Plan
    mirror: Mirror
    hold: str = ""


class Preparer:
    """Makes the next plan for a receiver. The caller sees to it that only one is made at a time for each."""

    def __init__(
        self,
        *,
        drafter: Drafter,
        keeper: MirrorKeeper,
        archive: Archive,
        journal: Journal,
        plans: Plans,
        live: LiveView | None = None,
        before: Callable[[Mirror], Awaitable[None]] | None = None,
        receipts: Receipting | None = None,
    ) -> None:
        self._drafter = drafter
        self._keeper = keeper
        self._archive = archive
        self._journal = journal
        self._plans = plans
        self._live = live
        self._before = before
        self._receipts = receipts or NoReceipts()
        self.refusals = Refusals(journal=journal, plans=plans)

    async def was_applied(self, receiver: str) -> bool:
        """Whether this receiver was ever brought to a roster, or is about to be."""
        newest = await self._plans.newest(receiver=receiver, limit=_LOOKED_THROUGH)
        return any(plan.state in _WRITTEN for plan in newest)

    async def preview(self, receiver: str) -> Plan:
        """What would be written now; nothing is kept. Raises Refused, LineError, PeerError."""
        plan = self._drafter.draft(await self._keeper.refresh(receiver, urgency=Urgency.BULK))
        before = await self.waiting(receiver) or await self.refusals.standing(plan)
        return replace(plan, state=PlanState.PREVIEW, hold=plan.hold or _still_held(before, plan))

    async def prepare(
        self,
        receiver: str,
        *,
        approve: bool = False,
        hold: str = "",
        asked: bool = False,
        progress: Progress | None = None,
    ) -> Prepared:
        """The next plan. With `approve` the guard is heard and not obeyed; `progress` is that of reading the memory.

        `asked`: somebody did, and gets a receipt even when nothing has changed since the last one.

        Raises Refused with `no-roster`, `receiver-unconfirmed` or `receiver-full`, LineError, PeerError,
        StoreUnavailable; nothing has then been written.
        """
        mirror = await self._keeper.refresh(receiver, urgency=Urgency.BULK, progress=progress)
        if self._before is not None:
            await self._before(mirror)
        plan = self._drafter.draft(mirror)
        held = await self.waiting(receiver)
        refused = await self.refusals.standing(plan) if held is None else None
        reason = "" if approve else plan.hold or _still_held(held or refused, plan) or _kept(hold, plan)
        if reason:
            ahead = self._drafter.draft(mirror, without_guarded=True)
            if not ahead.changes and refused is not None and said_no(refused, plan) and not asked:
                return Prepared(refused, mirror, reason)
            if not ahead.changes:
                return Prepared(await self.keep_held(replace(plan, hold=reason), held), mirror, reason)
            waiting = f"{reason} That part waits for approval."
            plan = replace(ahead, reason=ADDITIONS, left_out=(*ahead.left_out, waiting), hold="")
            return Prepared(await self._make_durable(plan, mirror), mirror, reason)
        if held is not None:
            await self.supersede(held, f"{plan.id} took its place.")
        if not plan.changes:
            stated = await self._receipts.after(plan, mirror, asked=asked)
            outcome = f"Nothing to write: {plan_counts(plan)}.{stated.words}"
            plan = replace(plan, state=PlanState.APPLIED, outcome=outcome, receipt=stated.receipt)
            return Prepared(plan, mirror)
        return Prepared(await self._make_durable(replace(plan, hold=""), mirror), mirror)

    async def approved(self, plan_id: str) -> Prepared:
        """A held plan, planned again.

        Raises NotFound, Refused with `plan-not-held` or `plan-changed`, and as `prepare`.
        """
        held = await self.held(plan_id)
        mirror = await self._keeper.refresh(held.receiver, urgency=Urgency.BULK)
        if self._before is not None and held.follows_roster:
            await self._before(mirror)
        fresh = self._drafter.redraft(held, mirror)
        if not same_work(fresh, held):
            again = self._drafter.anew(held, mirror)
            if any(change.guarded for change in again.changes):
                again = await self.keep_held(replace(again, hold=again.hold or held.hold), held)
            raise Refused(
                f"What {held.id} would change now is something else than when it was held.",
                remedy=f"Look at {again.id}, which took its place, and approve that: gatepost plan show {again.id}",
                code="plan-changed",
            )
        if not fresh.changes and fresh.settings is None:
            stated = await self._receipts.after(fresh, mirror)
            done = replace(
                held,
                state=PlanState.APPLIED,
                done=len(held.changes),
                outcome=f"Nothing was left to write.{stated.words}",
                receipt=stated.receipt,
            )
            await self._journal.commit(Commit(plans=(done,)))
            return Prepared(done, mirror)
        return Prepared(await self._make_durable(replace(fresh, hold=""), mirror), mirror)

    async def held(self, plan_id: str) -> Plan:
        """A plan that waits for approval. Raises NotFound, Refused with `plan-not-held`."""
        plan = await self._plans.load(plan_id)
        if plan is None:
            raise NotFound(f"There are no changes called {plan_id}.", remedy="`gatepost plan list` shows the ids.")
        if plan.state is not PlanState.HELD:
            raise Refused(
                f"{plan_id} is {plan.state.value} and doesn't wait for approval.",
                remedy="See what waits: gatepost plan list --held",
                code="plan-not-held",
            )
        return plan

    async def keep(self, plan: Plan, mirror: Mirror) -> Prepared:
        """A plan that somebody else drafted from this mirror: held, durable behind its snapshot, or with nothing to do.

        Raises StoreUnavailable.
        """
        if not plan.changes:
            plan = replace(plan, state=PlanState.APPLIED, outcome=f"Nothing to write: {plan_counts(plan)}.")
            await self._journal.commit(Commit(plans=(plan,)))
            return Prepared(plan, mirror)
        if plan.hold:
            return Prepared(await self.keep_held(plan, None), mirror, plan.hold)
        return Prepared(await self._make_durable(plan, mirror), mirror)

    async def waiting(self, receiver: str) -> Plan | None:
        """The held plan to the roster; one to a snapshot or for single transmitters is another matter."""
        waiting = [plan for plan in await self._plans.unfinished(receiver) if plan.follows_roster]
        return next((plan for plan in reversed(waiting) if plan.state is PlanState.HELD), None)

    async def keep_held(self, plan: Plan, held: Plan | None) -> Plan:
        """Keep it as held and tell it; the same work that is held already is neither kept nor told again."""
        if held is not None and same_work(plan, held) and same_work(held, plan):
            return held
        plan = replace(plan, state=PlanState.HELD)
        data = {
            "plan": plan.id,
            "hold": plan.hold,
            "summary": plan_summary(plan),
            "removed": plan.count(ChangeKind.REMOVED),
            "changed": plan.count(ChangeKind.CHANGED),
            "roster_digest": plan.roster_digest,
        }
        older = (_superseded(held, f"{plan.id} took its place."),) if held else ()
        event = EventDraft(EventName.PLAN_HELD, plan.receiver, data)
        await self._journal.commit(Commit(events=(event,), plans=(*older, plan)))
        return plan

    async def _make_durable(self, plan: Plan, mirror: Mirror) -> Plan:
        snapshot = await self._archive.take(plan.receiver, mirror, reason="plan", status=self._status(plan.receiver))
        plan = replace(plan, state=PlanState.PENDING, snapshot=snapshot.id)
        await self._journal.commit(Commit(plans=(plan,)))
        return plan

    async def supersede(self, plan: Plan, outcome: str) -> None:
        await self._journal.commit(Commit(plans=(_superseded(plan, outcome),)))

    def _status(self, receiver: str) -> Status | None:
        return self._live.receiver(receiver).status if self._live else None


def _superseded(plan: Plan, outcome: str) -> Plan:
    return replace(plan, state=PlanState.SUPERSEDED, outcome=outcome)


def _still_held(held: Plan | None, plan: Plan) -> str:
    """What was held stays held, even when the receiver has grown and its share is smaller now."""
    if held is None or not guarded_serials(held.changes) & guarded_serials(plan.changes):
        return ""
    return held.hold


def _kept(hold: str, plan: Plan) -> str:
    return hold if guarded_serials(plan.changes) else ""
