"""Plans on request and by timetable: preview, apply, start, approve; one run at a time for each receiver.

Receivers run in parallel, and one that is dead delays nobody. One that could not be brought to the roster is owed it,
and gets it when its link is restored. `run` owns the work in the background; what the plans are is `preparing`'s.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import replace

from gateway.domain.events import EventDraft, EventName
from gateway.domain.mirror import Mirror
from gateway.domain.plan import Plan, PlanState
from gateway.errors import GatepostError, LineError, Refused, StoreUnavailable
from gateway.ports import Commit, EventFilter, Journal, Progress
from gateway.sync.applying import Applier
from gateway.sync.drafting import Drafter
from gateway.sync.following import follow
from gateway.sync.preparing import Prepared, Preparer
from gateway.sync.site import Site
from gateway.sync.waiting import Waiting

__all__ = ["SyncRunner"]

_ROUNDS = 5
"""How many plans one run makes at most (superseded ones, additions ahead of a held one): our choice."""
_TOLD_ELSEWHERE = frozenset(
    {"no-roster", "receiver-unconfirmed", "roster-waits", "store-unavailable", "work-in-progress"}
)
_WAKING = EventFilter(names=frozenset({EventName.LINK_RESTORED, EventName.CLOCK_TRUSTED, EventName.VISIT_ENDED}))


class SyncRunner:
    """`ports.SyncRuns`. `start`, `approve` and `carry_on` need `run` to be running."""

    def __init__(
        self,
        *,
        site: Site,
        journal: Journal,
        drafter: Drafter,
        preparer: Preparer,
        applier: Applier,
        waiting: Waiting,
    ) -> None:
        self._waiting = waiting
        self._site = site
        self._journal = journal
        self._drafter = drafter
        self._preparer = preparer
        self._applier = applier
        self._locks = {name: asyncio.Lock() for name in site.names_with_slots()}
        self._progress: dict[str, tuple[int, int, str]] = {}
        self._jobs: asyncio.Queue[Callable[[], Awaitable[None]]] = asyncio.Queue()
        self._owed: set[str] = set()
        self._told: dict[str, str] = {}

    # --- asking ---

    async def preview(self, receiver: str) -> Plan:
        self._site.with_slots(receiver)
        return await self._preparer.preview(receiver)

    def draft(self, mirror: Mirror) -> Plan:
        self._site.with_slots(mirror.receiver)
        return replace(self._drafter.draft(mirror), state=PlanState.PREVIEW)

    async def apply(self, receiver: str, *, approve: bool = False, progress: Progress | None = None) -> Plan:
        """Waits for a run of this receiver that is under way.

        Raises as `Preparer.prepare`, Refused with `roster-waits`, Unsupported, NotFound.
        """
        self._site.with_slots(receiver)
        async with self._locks[receiver]:
            await self._waiting.check(receiver)
            prepared = await self._preparer.prepare(receiver, approve=approve, progress=progress)
            return await self._carry_out(prepared, approve=approve, progress=progress)

    async def start(self, receiver: str, *, asked_by: str) -> Plan:
        """Raises as `apply`, and Refused with `plan-running`."""
        self._site.with_slots(receiver)
        await self._take(receiver)
        return await self._in_background(receiver, lambda: self._prepare_kept(receiver), asked_by)

    async def approve(self, plan_id: str, *, asked_by: str) -> Plan:
        """Returns the plan about to be written. Raises NotFound, Refused with `plan-not-held`, `plan-changed`, ..."""
        held = await self._preparer.held(plan_id)
        self._site.with_slots(held.receiver)
        await self._take(held.receiver)
        return await self._in_background(held.receiver, lambda: self._prepare_approved(held), asked_by)

    async def decline(self, plan_id: str, *, asked_by: str, reason: str) -> Plan:
        """Raises NotFound, Refused with `plan-not-held` or `plan-running`."""
        held = await self._preparer.held(plan_id)
        async with self.turn(held.receiver):
            held = await self._preparer.held(plan_id)
            return await self._preparer.refusals.refuse(held, asked_by=asked_by, reason=reason)

    async def start_other(self, receiver: str, prepare: Callable[[], Awaitable[Prepared]], *, asked_by: str) -> Plan:
        """A plan that somebody else prepares, in this receiver's turn. Raises as `start`, and what `prepare` raises."""
        self._site.with_slots(receiver)
        await self._take(receiver)
        return await self._in_background(receiver, prepare, asked_by)

    def queue_other(self, receiver: str, prepare: Callable[[], Awaitable[Prepared]], *, asked_by: str) -> None:
        """As `start_other`, when this receiver's turn comes; what goes wrong is told by whoever prepares, or nobody."""

        async def job() -> None:
            async with self._locks[receiver]:
                await self._carry_out(await prepare(), asked_by=asked_by)

        self._jobs.put_nowait(job)

    @asynccontextmanager
    async def turn(self, receiver: str) -> AsyncIterator[None]:
        """Nobody plans for this receiver while the body runs. Raises as `start`."""
        self._site.with_slots(receiver)
        await self._take(receiver)
        try:
            yield
        finally:
            self._locks[receiver].release()

    def progress(self, plan_id: str) -> tuple[int, int, str] | None:
        return self._progress.get(plan_id)

    async def apply_all(self) -> dict[str, Plan | GatepostError]:
        """Bring every receiver to the roster, in parallel; what went wrong is in the place of its plan."""
        async with asyncio.TaskGroup() as group:
            tasks = {name: group.create_task(self._apply_or_owe(name)) for name in self._locks}
        return {name: task.result() for name, task in tasks.items()}

    async def bring_applied(self) -> bool:
        """Bring every receiver that was brought to a roster before, in parallel; a first time is somebody's own word.

        False when one could not be brought; it then is as soon as its link is restored.
        """
        names = [name for name in self._locks if await self._preparer.was_applied(name)]
        async with asyncio.TaskGroup() as group:
            tasks = [group.create_task(self._apply_or_owe(name)) for name in names]
        brought = [task.result() for task in tasks]
        return all(isinstance(plan, Plan) and plan.state is not PlanState.FAILED for plan in brought)

    def is_planning(self, receiver: str) -> bool:
        """Whether a plan of this receiver is being made or written at this moment."""
        return receiver in self._locks and self._locks[receiver].locked()

    def carry_on(self, plan: Plan) -> None:
        """Finish a plan that a restart has cut, in the background."""
        self._jobs.put_nowait(lambda: self._carry_on(plan))

    # --- doing ---

    async def run(self) -> None:
        """The work in the background; runs until it is cancelled. A cut plan stays unfinished and is carried on."""
        async with asyncio.TaskGroup() as group:
            group.create_task(self._follow(), name="plans: what is owed")
            while True:
                job = await self._jobs.get()
                group.create_task(_run_job(job), name="plan")

    async def _follow(self) -> None:
        async for event in follow(self._journal, _WAKING):
            if event.name is EventName.CLOCK_TRUSTED:
                await self._owe_those_applied()
            elif event.name is EventName.VISIT_ENDED:
                for name in self._owed & set(event.data["receivers"]):
                    self._owe_now(name)
            elif event.receiver in self._owed:
                self._owe_now(event.receiver)

    async def _owe_those_applied(self) -> None:
        """What dates grant and end is made up; a receiver never brought to a roster waits for somebody's word."""
        for name in self._locks:
            if await self._preparer.was_applied(name):
                self._owe_now(name)

    def owe(self, receiver: str) -> None:
        """Bring this receiver to the roster in the background, when its turn comes and as soon as it can be reached."""
        self._owe_now(receiver)

    def _owe_now(self, name: str) -> None:
        async def job() -> None:
            await self._apply_or_owe(name)

        self._jobs.put_nowait(job)

    async def _apply_or_owe(self, name: str) -> Plan | GatepostError:
        self._owed.discard(name)
        try:
            plan = await self.apply(name)
        except GatepostError as fault:
            if isinstance(fault, LineError) or fault.code == "work-in-progress":
                self._owed.add(name)
            else:
                await self._tell_once(name, fault)
            return fault
        self._told.pop(name, None)
        if plan.state is PlanState.FAILED:
            self._owed.add(name)
        return plan

    async def _tell_once(self, name: str, fault: GatepostError) -> None:
        """Nobody waits for the timetable's answer, so what keeps a plan from being made is told, once per cause.

        A lost line, a missing roster, another receiver and a full disk have events and states of their own.
        """
        cause = f"{fault.code} {fault.message}"
        if fault.code in _TOLD_ELSEWHERE or self._told.get(name) == cause:
            return
        data = {"plan": "", "code": fault.code, "problem": fault.message, "remedy": fault.remedy}
        with contextlib.suppress(StoreUnavailable):
            await self._journal.commit(Commit(events=(EventDraft(EventName.PLAN_FAILED, name, data),)))
            self._told[name] = cause

    async def _take(self, receiver: str) -> None:
        if self._locks[receiver].locked():
            raise Refused(
                f"Changes for {receiver} are being worked out or written at this moment.",
                remedy="Wait until that is done; `gatepost plan list` shows how far it is.",
                code="plan-running",
            )
        await self._locks[receiver].acquire()

    async def _prepare_kept(self, receiver: str) -> Prepared:
        """Somebody asked for this plan, so it is kept even when there is nothing to do."""
        await self._waiting.check(receiver)
        prepared = await self._preparer.prepare(receiver, asked=True)
        if prepared.plan.state is PlanState.APPLIED:
            await self._journal.commit(Commit(plans=(prepared.plan,)))
        return prepared

    async def _prepare_approved(self, held: Plan) -> Prepared:
        if held.follows_roster:
            await self._waiting.check(held.receiver)
        return await self._preparer.approved(held.id)

    async def _in_background(self, receiver: str, prepare: Callable[[], Awaitable[Prepared]], asked_by: str) -> Plan:
        """The turn is taken; it is given back here when nothing is to be written, else when the job is done."""
        try:
            prepared = await prepare()
        except BaseException:
            self._locks[receiver].release()
            raise
        if prepared.plan.state is not PlanState.PENDING:
            self._locks[receiver].release()
            return prepared.plan

        async def job() -> None:
            try:
                await self._carry_out(prepared, asked_by=asked_by)
            finally:
                self._locks[receiver].release()

        self._jobs.put_nowait(job)
        return prepared.plan

    async def _carry_on(self, plan: Plan) -> None:
        async with self._locks[plan.receiver]:
            if plan.follows_roster:
                await self._waiting.check(plan.receiver)
            ended = await self._write(plan, None)
            if ended.state is PlanState.SUPERSEDED and ended.follows_roster:
                await self._carry_out(await self._preparer.prepare(plan.receiver))

    async def _carry_out(
        self, prepared: Prepared, *, approve: bool = False, progress: Progress | None = None, asked_by: str = ""
    ) -> Plan:
        """Write it, and go on while something newer took its place or the rest of it is still to be held."""
        plan = prepared.plan
        for _ in range(_ROUNDS):
            if prepared.plan.state is not PlanState.PENDING:
                break
            plan = await self._write(prepared.plan, prepared, progress, asked_by)
            done = not plan.follows_roster or plan.state is PlanState.FAILED
            if done or (plan.state is PlanState.APPLIED and not prepared.hold):
                return plan
            prepared = await self._preparer.prepare(plan.receiver, approve=approve, hold=prepared.hold)
            plan = prepared.plan
        return plan

    async def _write(
        self, plan: Plan, prepared: Prepared | None, progress: Progress | None = None, asked_by: str = ""
    ) -> Plan:
        def tell(done: int, total: int, words: str) -> None:
            self._progress[plan.id] = (done, total, words)
            if progress is not None:
                progress(done, total, words)

        tell(plan.done, len(plan.changes), "starting")
        try:
            return await self._applier.apply(
                plan,
                self._site.receivers[plan.receiver],
                self._drafter.redraft,
                fresh=prepared.mirror if prepared else None,
                progress=tell,
                asked_by=asked_by,
            )
        finally:
            del self._progress[plan.id]


async def _run_job(job: Callable[[], Awaitable[None]]) -> None:
    """What goes wrong with a plan is in the plan; what can't even be kept is seen in the store's own state."""
    try:
        await job()
    except GatepostError:
        return
