"""Where the roster waits: after a restore or a clone (rule 5 of the design), and after a reset (rule 11).

A wait is in the ledger before anything is written because of it, so that neither a restart nor a new database lets the
roster undo a restore or fill a receiver that was cleared. It ends when somebody approves the roster. When somebody
approves what the receiver holds instead, it stands until another roster is accepted: the one that was passed over
is never brought there by itself.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from typing import Literal

from gateway.domain.events import EventDraft, EventName
from gateway.domain.plan import Plan, PlanState
from gateway.domain.wait import RESET, RosterWait, why_it_waits
from gateway.errors import NotFound, Refused
from gateway.ports import Commit, Journal, Ledger, Plans
from gateway.sync.drafting import RosterInForce

__all__ = ["Waiting", "refusal"]


class Waiting:
    """`ports.RosterWaits`, and the gate before every plan that goes to the roster."""

    def __init__(
        self,
        *,
        ledger: Ledger,
        journal: Journal,
        plans: Plans,
        rosters: RosterInForce,
        working: Callable[[Collection[str]], None] = lambda _: None,
    ) -> None:
        self._working = working
        self._ledger = ledger
        self._journal = journal
        self._plans = plans
        self._rosters = rosters

    def all(self) -> Mapping[str, RosterWait]:
        return {name: wait for name, wait in self._ledger.waits().items() if not self._is_over(wait)}

    async def check(self, receiver: str) -> None:
        """Raises Refused with `roster-waits`, and with `work-in-progress` while people work there (`working` says so).

        A wait that another roster has ended is ended for good here.
        """
        self._working((receiver,))
        if (wait := await self.standing(receiver)) is not None:
            raise refusal(wait)

    async def standing(self, receiver: str) -> RosterWait | None:
        """Where the roster waits now, whoever works there. A wait that another roster has ended is ended for good."""
        wait = self._ledger.waits().get(receiver)
        if wait is not None and self._is_over(wait):
            await self._end(wait, asked_by="", by="another roster was accepted")
            return None
        return wait

    async def begin(self, wait: RosterWait) -> None:
        """See `ports.RosterWaits`. Raises StoreUnavailable."""
        before = self._ledger.waits().get(wait.receiver)
        await self._ledger.begin_wait(wait)
        older = await self._superseded(wait, f"The receiver is under another order now ({wait.reason}).")
        data = {"reason": wait.reason, "snapshot": wait.snapshot, "asked_by": wait.asked_by}
        told = () if before and before.kept_digest is None else (_event(EventName.ROSTER_PAUSED, wait, data),)
        if told or older:
            await self._journal.commit(Commit(events=told, plans=older))

    async def approve(self, receiver: str, what: Literal["roster", "snapshot"], *, asked_by: str) -> None:
        wait = self.all().get(receiver)
        if wait is None:
            raise NotFound(f"The roster does not wait at {receiver}.", remedy="Nothing has to be approved there.")
        if what == "roster":
            await self._end(wait, asked_by=asked_by, by="somebody approved the roster")
            return
        if wait.reason == RESET:
            raise Refused(
                f"{receiver} was cleared; there is no snapshot in it to approve.",
                remedy=f"Restore one (gatepost snapshot restore {wait.snapshot}), or approve the roster.",
                code="nothing-restored",
            )
        in_force = self._rosters.in_force
        await self._ledger.begin_wait(replace(wait, kept_digest=in_force.roster.digest if in_force else ""))
        await self._journal.commit(Commit(events=(_cleared(wait, asked_by, "somebody approved what it holds"),)))

    def _is_over(self, wait: RosterWait) -> bool:
        in_force = self._rosters.in_force
        return wait.kept_digest is not None and in_force is not None and in_force.roster.digest != wait.kept_digest

    async def _end(self, wait: RosterWait, *, asked_by: str, by: str) -> None:
        await self._ledger.end_wait(wait.receiver)
        told = () if wait.kept_digest is not None else (_cleared(wait, asked_by, by),)
        held = tuple(
            replace(plan, state=PlanState.SUPERSEDED, outcome="The roster goes on instead.")
            for plan in await self._plans.unfinished(wait.receiver)
            if plan.restores and plan.state is PlanState.HELD
        )
        await self._journal.commit(Commit(events=told, plans=held))

    async def _superseded(self, wait: RosterWait, outcome: str) -> tuple[Plan, ...]:
        return tuple(
            replace(plan, state=PlanState.SUPERSEDED, outcome=outcome)
            for plan in await self._plans.unfinished(wait.receiver)
            if plan.id != wait.plan
        )


def refusal(wait: RosterWait) -> Refused:
    """Why no plan to the roster is made there: `roster-waits`."""
    after = why_it_waits(wait.reason, wait.snapshot)
    said = "nobody has said that the roster may go on there" if wait.kept_digest is None else "that was approved"
    return Refused(
        f"The roster waits at {wait.receiver}: {after}, and {said}.",
        remedy=f"Let it go on with: gatepost snapshot approve {wait.receiver} --roster",
        code="roster-waits",
    )


def _cleared(wait: RosterWait, asked_by: str, by: str) -> EventDraft:
    return _event(EventName.ROSTER_RESUMED, wait, {"reason": wait.reason, "by": by, "asked_by": asked_by})


def _event(name: EventName, wait: RosterWait, data: Mapping[str, str]) -> EventDraft:
    return EventDraft(name, wait.receiver, data)
