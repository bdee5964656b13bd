"""Bringing a receiver to a snapshot: a plan like any other, for which the roster steps aside.

The order that a cut can't break: the receiver's turn is taken, a snapshot of what it holds now is written, the wait of
the roster goes into the ledger, the plan with all its targets into the database, and then the first frame is written.
A restore that failed because its receiver was lost is taken up again when the link is back, with the same targets.
"""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import replace

from gateway.clock import Clock
from gateway.domain.events import EventDraft, EventName
from gateway.domain.mirror import Mirror
from gateway.domain.plan import ChangeKind, Plan, PlanState
from gateway.domain.receiver import Status
from gateway.domain.urgency import Urgency
from gateway.domain.wait import RosterWait
from gateway.errors import GatepostError
from gateway.ports import Aim, Archive, Commit, EventFilter, Journal, LiveView, MirrorKeeper, Plans
from gateway.sync.following import follow
from gateway.sync.preparing import Prepared
from gateway.sync.receipting import NoReceipts, Receipting
from gateway.sync.refusing import same_work
from gateway.sync.restore_drafting import RestoreDrafter
from gateway.sync.runner import SyncRunner
from gateway.sync.site import Site
from gateway.sync.waiting import Waiting
from gateway.sync.words import plan_counts, plan_summary

__all__ = ["Restorer"]

_LOOKED_THROUGH = 10
"""Plans of a receiver among which its last restore is looked for; no plan to the roster comes while it waits."""
_BACK = EventFilter(names=frozenset({EventName.LINK_RESTORED}))


class Restorer:
    """`ports.RestoreRuns`. `run` takes up what a lost link has ended."""

    def __init__(
        self,
        *,
        site: Site,
        clock: Clock,
        journal: Journal,
        plans: Plans,
        keeper: MirrorKeeper,
        archive: Archive,
        drafter: RestoreDrafter,
        runner: SyncRunner,
        waiting: Waiting,
        live: LiveView | None = None,
        receipts: Receipting | None = None,
    ) -> None:
        self._receipts = receipts or NoReceipts()
        self._site = site
        self._clock = clock
        self._journal = journal
        self._plans = plans
        self._keeper = keeper
        self._archive = archive
        self._drafter = drafter
        self._runner = runner
        self._waiting = waiting
        self._live = live

    def draft(self, mirror: Mirror, aim: Aim, *, reason: str) -> Plan:
        """See `ports.RestoreRuns`."""
        return replace(self._drafter.draft(mirror, aim, reason=reason), state=PlanState.PREVIEW)

    async def start(
        self,
        receiver: str,
        aim: Aim,
        *,
        reason: str,
        snapshot: str,
        asked_by: str,
        before: Callable[[], Awaitable[None]] | None = None,
    ) -> Plan:
        """See `ports.RestoreRuns`. The runner's background must be running for anything to be written."""

        async def prepare() -> Prepared:
            if before is not None:
                await before()
            mirror = await self._keeper.refresh(receiver, urgency=Urgency.BULK)
            return await self.prepare(mirror, aim, reason=reason, snapshot=snapshot, asked_by=asked_by)

        return await self._runner.start_other(receiver, prepare, asked_by=asked_by)

    async def prepare(self, mirror: Mirror, aim: Aim, *, reason: str, snapshot: str, asked_by: str) -> Prepared:
        """The plan from this mirror, durable or held, and the roster waits. Raises as `draft`, StoreUnavailable."""
        plan = self._drafter.draft(mirror, aim, reason=reason)
        return await self._begin(plan, mirror, snapshot, asked_by)

    @asynccontextmanager
    async def turn(self, receiver: str) -> AsyncIterator[None]:
        """See `ports.RestoreRuns`."""
        async with self._runner.turn(receiver):
            yield

    async def run(self) -> None:
        """Take up restores that failed, now and whenever a link is restored; runs until it is cancelled."""
        for name in self._waiting.all():
            await self._take_up(name)
        async for event in follow(self._journal, _BACK):
            await self._take_up(event.receiver)

    # --- beginning ---

    async def _begin(self, plan: Plan, mirror: Mirror, snapshot: str, asked_by: str) -> Prepared:
        wait = RosterWait(plan.receiver, plan.reason, self._clock.now(), asked_by, snapshot, plan.id)
        if plan.hold:
            await self._waiting.begin(wait)
            return Prepared(await self._hold(plan), mirror, plan.hold)
        return Prepared(await self._keep(plan, mirror, wait), mirror)

    async def _keep(self, plan: Plan, mirror: Mirror, wait: RosterWait) -> Plan:
        """Durable, in the order that a cut can't break."""
        if not plan.changes and plan.settings is None:
            outcome = f"Nothing to write: {plan_counts(plan)}."
            plan = replace(plan, state=PlanState.APPLIED, hold="", outcome=outcome)
        else:
            taken = await self._archive.take(plan.receiver, mirror, reason="plan", status=self._status(plan.receiver))
            plan = replace(plan, state=PlanState.PENDING, hold="", snapshot=taken.id)
        await self._waiting.begin(wait)
        if plan.state is PlanState.APPLIED:
            stated = await self._receipts.after(plan, mirror)
            plan = replace(plan, outcome=plan.outcome + stated.words, receipt=stated.receipt)
        await self._journal.commit(Commit(plans=(plan,)))
        return plan

    async def _hold(self, plan: Plan) -> Plan:
        held = replace(plan, state=PlanState.HELD)
        data = {
            "plan": held.id,
            "hold": held.hold,
            "summary": plan_summary(held),
            "removed": held.count(ChangeKind.REMOVED),
            "changed": held.count(ChangeKind.CHANGED),
            "roster_digest": held.roster_digest,
        }
        event = EventDraft(EventName.PLAN_HELD, held.receiver, data)
        await self._journal.commit(Commit(events=(event,), plans=(held,)))
        return held

    # --- taking up ---

    async def _take_up(self, receiver: str) -> None:
        wait = self._waiting.all().get(receiver)
        newest = await self._plans.newest(receiver=receiver, limit=_LOOKED_THROUGH) if wait is not None else ()
        failed = next((plan for plan in newest if plan.restores), None)
        if wait is None or failed is None or wait.plan != failed.id or failed.state is not PlanState.FAILED:
            return

        async def prepare() -> Prepared:
            mirror = await self._keeper.refresh(receiver, urgency=Urgency.BULK)
            plan = self._drafter.anew(failed, mirror)
            if not same_work(plan, failed):
                return Prepared(failed, mirror)
            return Prepared(await self._keep(plan, mirror, replace(wait, plan=plan.id)), mirror)

        # What keeps it from being taken up is a state of its own: the link, the store, or a plan under way.
        with contextlib.suppress(GatepostError):
            await self._runner.start_other(receiver, prepare, asked_by=wait.asked_by)

    def _status(self, receiver: str) -> Status | None:
        return self._live.receiver(receiver).status if self._live else None
