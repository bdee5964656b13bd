"""Bringing overrides to the receivers: plans of the usual kind, guarded, preceded by a snapshot and proven.

A receiver that can't be reached, or is being written just now, is owed them: that is kept until a plan has brought
them, and tried again when its link is restored and when the plan that was in the way has ended. What was brought once
is owed no more, so that nothing taken away at the board is given back by this.
"""

from __future__ import annotations

import contextlib
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

from gateway.domain.events import EventName
from gateway.domain.plan import ENROLMENT, Plan, PlanState
from gateway.domain.urgency import Urgency
from gateway.errors import GatepostError, StoreUnavailable
from gateway.ports import Brought, Commit, Documents, EventFilter, Journal, MirrorKeeper, Plans
from gateway.sync.following import follow
from gateway.sync.override_drafting import OverrideDrafter
from gateway.sync.preparing import Prepared, Preparer
from gateway.sync.runner import SyncRunner

__all__ = ["OverrideRuns", "OwedOverrides"]

_KEY = "enrolment.owed"
_WAKING = EventFilter(names=frozenset({EventName.LINK_RESTORED, EventName.RECEIVER_REPLACED, EventName.PLAN_APPLIED}))
_ASKED_BY = "enrolment"


@dataclass(frozen=True, slots=True)
class OwedOverrides:
    """Serials that are still to be brought, by receiver."""

    serials: Mapping[str, tuple[int, ...]] = field(default_factory=dict)


class OverrideRuns:
    """`run` must be running for what is owed to be made up."""

    def __init__(
        self,
        *,
        drafter: OverrideDrafter,
        preparer: Preparer,
        runner: SyncRunner,
        keeper: MirrorKeeper,
        journal: Journal,
        documents: Documents,
        plans: Plans,
    ) -> None:
        self._drafter = drafter
        self._preparer = preparer
        self._runner = runner
        self._keeper = keeper
        self._journal = journal
        self._documents = documents
        self._plans = plans

    async def bring(self, serials: Mapping[str, Collection[int]], *, asked_by: str) -> tuple[Brought, ...]:
        """Start a plan at each of these receivers; what can't be started now is owed. Raises StoreUnavailable."""
        await self._owe(serials)
        return tuple([await self._bring(receiver, asked_by) for receiver in serials])

    async def run(self) -> None:
        """Make up what is owed, now and whenever something may have changed; runs until it is cancelled."""
        for receiver in self._owed():
            self._later(receiver)
        async for event in follow(self._journal, _WAKING):
            if event.name is EventName.PLAN_APPLIED and event.data.get("reason") == ENROLMENT:
                await self._settle(str(event.data.get("plan")))
            elif event.receiver in self._owed():
                self._later(event.receiver)

    async def _bring(self, receiver: str, asked_by: str) -> Brought:
        try:
            plan = await self._runner.start_other(receiver, lambda: self._prepare(receiver), asked_by=asked_by)
        except GatepostError as fault:
            if fault.code == "plan-running":
                self._later(receiver)
                return Brought(receiver, None, fault.message, "It is written as soon as that is done.")
            return Brought(receiver, None, fault.message, fault.remedy)
        return Brought(receiver, plan)

    def _later(self, receiver: str) -> None:
        self._runner.queue_other(receiver, lambda: self._prepare(receiver), asked_by=_ASKED_BY)

    async def _prepare(self, receiver: str) -> Prepared:
        """The receiver's turn is taken. Nothing differs: it is owed nothing any more."""
        mirror = await self._keeper.refresh(receiver, urgency=Urgency.BULK)
        serials = self._owed().get(receiver, ())
        plan = self._drafter.draft(mirror, serials)
        waiting = await self._held(receiver)
        if waiting is not None and _same_serials(waiting, plan):
            return Prepared(waiting, mirror, waiting.hold)
        prepared = await self._preparer.keep(plan, mirror)
        if prepared.plan.state is PlanState.APPLIED:
            await self._pay(receiver, serials)
        return prepared

    async def _held(self, receiver: str) -> Plan | None:
        held = [p for p in await self._plans.unfinished(receiver) if p.reason == ENROLMENT]
        return next((plan for plan in reversed(held) if plan.state is PlanState.HELD), None)

    async def _settle(self, plan_id: str) -> None:
        plan = await self._plans.load(plan_id)
        if plan is not None:
            await self._pay(plan.receiver, _serials(plan))

    # --- what is owed ---

    def _owed(self) -> Mapping[str, tuple[int, ...]]:
        kept = self._documents.load(_KEY, OwedOverrides)
        return kept.serials if kept else {}

    async def _owe(self, serials: Mapping[str, Collection[int]]) -> None:
        owed = dict(self._owed())
        for receiver, more in serials.items():
            owed[receiver] = tuple(sorted({*owed.get(receiver, ()), *more}))
        await self._journal.commit(Commit(documents={_KEY: OwedOverrides(owed)}))

    async def _pay(self, receiver: str, serials: Collection[int]) -> None:
        owed = dict(self._owed())
        left = tuple(serial for serial in owed.pop(receiver, ()) if serial not in serials)
        if left:
            owed[receiver] = left
        # Not kept for a full disk: the next plan finds that nothing differs and pays then.
        with contextlib.suppress(StoreUnavailable):
            await self._journal.commit(Commit(documents={_KEY: OwedOverrides(owed)}))

    async def forget(self, serial: int) -> None:
        """A withdrawn override is owed to nobody."""
        owed = {name: tuple(s for s in kept if s != serial) for name, kept in self._owed().items()}
        await self._journal.commit(
            Commit(documents={_KEY: replace(OwedOverrides(), serials={n: kept for n, kept in owed.items() if kept})})
        )


def _serials(plan: Plan) -> frozenset[int]:
    return frozenset(change.after.serial for change in plan.changes if change.after is not None)


def _same_serials(plan: Plan, other: Plan) -> bool:
    return bool(plan.changes) and _serials(plan) == _serials(other)
