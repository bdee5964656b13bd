"""Work in progress (`ports.Visits`): the roster waits, the board may be unlocked, and all of it ends by itself.

What is unlocked is durable before it is unlocked, also in the ledger, so that a restart finds what it has to lock
again even when the database is lost: the visit is then over and the board is locked. A receiver that can't be
reached is tried until it is proven locked. The time is counted by the monotonic clock; after a restart of the machine
by wall time when that is known to be right, else anew and rather too long.
"""

from __future__ import annotations

import asyncio
import contextlib
import secrets
from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from datetime import timedelta

import structlog

from gateway.clock import Clock
from gateway.domain.events import EventDraft, EventName
from gateway.domain.receiver import Capability
from gateway.domain.urgency import Urgency
from gateway.domain.visit import MOST_MINUTES, Visit, VisitChange, VisitScope, VisitState
from gateway.errors import GatepostError, NotFound, Refused, StoreError
from gateway.ports import (
    Commit,
    Documents,
    EventFilter,
    Journal,
    MirrorKeeper,
    SettingsDesk,
    Trust,
    UnlockLedger,
    VisitOrder,
    Visits,
)
from gateway.sync.site import Site
from gateway.sync.visit_words import TOLD, changes_of

__all__ = ["DOCUMENT", "KeptVisits", "VisitBook"]

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.sync")

DOCUMENT = "visits"
_MOST = 50
_MOST_CHANGES = 500
_LOOK_S = 30.0
_LOCK_AGAIN_S = 10.0
_BY_ITSELF = "its time was over"
_LOST = "work in progress that the lost database knew of; the board is locked again"


@dataclass(frozen=True, slots=True)
class KeptVisits:
    """The document. Oldest first."""

    visits: tuple[Visit, ...] = ()


class VisitBook(Visits):
    """`ports.Visits`. `run` ends what is over and locks what is still open.

    `gates` are the receivers of each gate by its name. `planning` says whether a plan is being made or written.
    """

    def __init__(
        self,
        *,
        site: Site,
        gates: Mapping[str, tuple[str, ...]],
        journal: Journal,
        documents: Documents,
        ledger: UnlockLedger,
        settings: SettingsDesk,
        keeper: MirrorKeeper,
        clock: Clock,
        trust: Trust,
        boot_id: str,
        planning: Callable[[str], bool] = lambda _: False,
    ) -> None:
        self._site = site
        self._gates = gates
        self._journal = journal
        self._ledger = ledger
        self._settings = settings
        self._keeper = keeper
        self._clock = clock
        self._trust = trust
        self._boot_id = boot_id
        self.planning = planning
        kept = documents.load(DOCUMENT, KeptVisits) or KeptVisits()
        self._visits = {each.id: self._rebased(each) for each in kept.visits}
        self._pick_up_unlocked()
        self._wake = asyncio.Event()
        self._locking = asyncio.Lock()

    # --- ports.Visits ---

    def all(self) -> tuple[Visit, ...]:
        return tuple(reversed(self._visits.values()))

    def find(self, visit_id: str) -> Visit:
        if visit_id not in self._visits:
            raise NotFound("No visit has this id, or it was long ago.", remedy="List the visits to see their ids.")
        return self._visits[visit_id]

    @property
    def visited(self) -> frozenset[str]:
        return frozenset(name for each in self._running() for name in each.receivers)

    def check(self, receivers: Collection[str]) -> None:
        """A receiver that no line reaches is brought to the roster by those who are there: nothing waits at it."""
        receivers = [name for name in receivers if name not in self._site.by_hand]
        for visit in self._running():
            if at := next((name for name in receivers if name in visit.receivers), None):
                until = visit.until.astimezone(self._site.zone).strftime("%H:%M")
                raise Refused(
                    f"Work is in progress at {at} until {until} ({visit.reason}); the roster is not brought there.",
                    remedy=f"Wait until it is over, or end it: gatepost visit end {visit.id}",
                    code="work-in-progress",
                )

    async def start(self, order: VisitOrder) -> Visit:
        receivers = self._receivers(order)
        self._check_order(order, receivers)
        now, newest = self._clock.now(), self._journal.newest
        visit = Visit(
            id=f"v-{secrets.token_hex(4)}",
            scope=order.scope,
            name=order.name if order.scope is not VisitScope.SITE else "",
            receivers=receivers,
            reason=order.reason.strip(),
            asked_by=order.asked_by,
            minutes=order.minutes,
            started=now,
            until=now + timedelta(minutes=order.minutes),
            epoch=newest.epoch,
            number=newest.number,
            boot_id=self._boot_id,
            until_s=self._clock.monotonic() + 60.0 * order.minutes,
        )
        self._visits[visit.id] = visit
        try:
            await self._keep(visit, (self._told(EventName.VISIT_STARTED, visit, {"unlock": order.unlock}),))
        except BaseException:
            del self._visits[visit.id]
            raise
        self._wake.set()
        return await self._unlock(visit) if order.unlock else visit

    async def end(self, visit_id: str, *, asked_by: str) -> Visit:
        if self.find(visit_id).state is not VisitState.RUNNING:
            raise Refused("This visit has ended already.", remedy="Read it to see what changed.", code="visit-ended")
        return await self._end(visit_id, asked_by)

    # --- the task ---

    async def run(self) -> None:
        """Until cancelled: whatever is over ends, whatever was unlocked is locked."""
        while True:
            self._wake.clear()
            for visit in list(self._visits.values()):
                if visit.state is VisitState.RUNNING and self._clock.monotonic() >= visit.until_s:
                    with contextlib.suppress(StoreError):
                        await self._end(visit.id, _BY_ITSELF)
                elif visit.state is VisitState.LOCKING:
                    with contextlib.suppress(StoreError):
                        await self._lock_again(visit.id)
            with contextlib.suppress(TimeoutError):
                async with self._clock.timeout(self._pause_s()):
                    await self._wake.wait()

    def _pause_s(self) -> float:
        left = [max(0.0, each.until_s - self._clock.monotonic()) for each in self._running()]
        locking = any(each.state is VisitState.LOCKING for each in self._visits.values())
        return max(0.05, min([_LOOK_S, *left, *([_LOCK_AGAIN_S] if locking else [])]))

    # --- unlocking and locking ---

    async def _unlock(self, visit: Visit) -> Visit:
        """Each receiver is noted as one to be locked before it is unlocked; nobody ends a visit in between."""
        async with self._locking:
            for name in visit.receivers:
                has_lock = Capability.SETTINGS in self._site.receivers[name].capabilities
                if has_lock and self._visits[visit.id].state is VisitState.RUNNING:
                    await self._unlock_one(visit.id, name)
        return self._visits[visit.id]

    async def _unlock_one(self, visit_id: str, name: str) -> None:
        try:
            open_already = (await self._settings.read(name)).local_programming
            if open_already and not self._takes_over(name):
                return
            await self._note_unlocked(visit_id, name, open_already=open_already)
            visit = self._visits[visit_id]
            if not open_already:
                await self._settings.change(name, local_programming=True, asked_by=visit.asked_by)
        except GatepostError as fault:
            visit = self._visits[visit_id]
            with contextlib.suppress(StoreError):
                await self._keep(replace(visit, problems={**visit.problems, name: str(fault)}))

    async def _note_unlocked(self, visit_id: str, name: str, *, open_already: bool) -> None:
        """In the ledger and with the visit, before it is unlocked."""
        await self._ledger.note_unlocked(name)
        visit = self._visits[visit_id]
        try:
            await self._keep(replace(visit, unlocked=(*visit.unlocked, name)))
        except StoreError:
            if not open_already:  # then nothing will be unlocked
                with contextlib.suppress(StoreError):
                    await self._ledger.note_locked(name)
            raise

    def _takes_over(self, name: str) -> bool:
        """Whether an earlier visit still has this receiver to lock; it is then locked at the end of the new one."""
        found = False
        for each in list(self._visits.values()):
            if each.state is VisitState.LOCKING and name in each.unlocked:
                found = True
                left = tuple(other for other in each.unlocked if other != name)
                state = VisitState.LOCKING if left else VisitState.ENDED
                self._visits[each.id] = replace(each, unlocked=left, state=state)
        return found

    async def _lock(self, visit: Visit) -> Visit:
        """Lock what was unlocked for it; what could not be proven locked stays noted."""
        open_still, problems = [], {}
        for name in visit.unlocked:
            try:
                await self._settings.change(name, local_programming=False, asked_by=visit.asked_by)
            except GatepostError as fault:
                open_still.append(name)
                problems[name] = str(fault)
                continue
            with contextlib.suppress(StoreError):  # noted too long: it is locked once more after a restart
                await self._ledger.note_locked(name)
        return replace(visit, unlocked=tuple(open_still), problems=problems)

    async def _lock_again(self, visit_id: str) -> None:
        async with self._locking:
            visit = self._visits[visit_id]
            locked = await self._lock(visit)
            if locked != visit:
                done = VisitState.LOCKING if locked.unlocked else VisitState.ENDED
                await self._keep(replace(locked, state=done))

    # --- the end ---

    async def _end(self, visit_id: str, ended_by: str) -> Visit:
        async with self._locking:
            visit = self._visits[visit_id]
            if visit.state is not VisitState.RUNNING:
                return visit
            visit = replace(visit, state=VisitState.LOCKING, ended=self._clock.now(), ended_by=ended_by)
            await self._keep(visit)
            visit = await self._lock(visit)
            unread = await self._read_again(visit)
            changes = await self._changes(visit)
            state = VisitState.LOCKING if visit.unlocked else VisitState.ENDED
            visit = replace(visit, state=state, changes=changes, unread=unread)
            await self._keep(visit, (self._ended(visit),))
            log.info("visit.ended", receivers=list(visit.receivers), changes=len(changes), state=state.value)
            self._wake.set()
            return visit

    async def _read_again(self, visit: Visit) -> tuple[str, ...]:
        """What was changed in the last seconds must be in the list."""
        unread = []
        for name in visit.receivers:
            if Capability.SLOTS not in self._site.receivers[name].capabilities:
                continue
            try:
                await self._keeper.refresh(name, urgency=Urgency.CONTROL)
            except GatepostError:
                unread.append(name)
        return tuple(unread)

    async def _changes(self, visit: Visit) -> tuple[VisitChange, ...]:
        wanted = EventFilter(names=TOLD, receivers=frozenset(visit.receivers))
        after = visit.number if visit.epoch == self._journal.newest.epoch else 0
        found: list[VisitChange] = []
        while events := await self._journal.read(after, limit=200, wanted=wanted):
            for event in events:
                found += changes_of(event)
            after = events[-1].id.number
            if len(found) > _MOST_CHANGES:
                break
        return tuple(found[:_MOST_CHANGES])

    # --- keeping and telling ---

    async def _keep(self, visit: Visit, events: tuple[EventDraft, ...] = ()) -> None:
        """Durable when it returns; memory knows it before, so that nothing is brought to it in between."""
        before = self._visits.get(visit.id)
        self._visits[visit.id] = visit
        kept = list(self._visits.values())
        settled = [each for each in kept if each.state is VisitState.ENDED][: max(0, len(kept) - _MOST)]
        for each in settled:
            del self._visits[each.id]
        try:
            document = KeptVisits(tuple(self._visits.values()))
            await self._journal.commit(Commit(events=events, documents={DOCUMENT: document}))
        except BaseException:
            if before is not None:
                self._visits[visit.id] = before
            raise

    def _told(self, name: EventName, visit: Visit, more: Mapping[str, object]) -> EventDraft:
        receiver = visit.receivers[0] if len(visit.receivers) == 1 else ""
        data = {
            "id": visit.id,
            "scope": visit.scope.value,
            "of": visit.name,
            "receivers": list(visit.receivers),
            "minutes": visit.minutes,
            "until": visit.until.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            "asked_by": visit.asked_by,
            "reason": visit.reason,
        }
        return EventDraft(name, receiver, {**data, **more})

    def _ended(self, visit: Visit) -> EventDraft:
        more = {
            "ended_by": visit.ended_by,
            "still_unlocked": list(visit.unlocked),
            "unread": list(visit.unread),
            "changed": [{"receiver": each.receiver, "sentence": each.sentence} for each in visit.changes[:50]],
            "changed_count": len(visit.changes),
        }
        return self._told(EventName.VISIT_ENDED, visit, more)

    # --- orders ---

    def _running(self) -> list[Visit]:
        return [each for each in self._visits.values() if each.state is VisitState.RUNNING]

    def _receivers(self, order: VisitOrder) -> tuple[str, ...]:
        if order.scope is VisitScope.SITE:
            return tuple(self._site.receivers)
        known = self._gates if order.scope is VisitScope.GATE else {name: (name,) for name in self._site.receivers}
        if order.name not in known:
            names = ", ".join(known) or "none"
            raise NotFound(f"There is no {order.scope.value} “{order.name}”.", remedy=f"The settings name: {names}.")
        return known[order.name]

    def _check_order(self, order: VisitOrder, receivers: tuple[str, ...]) -> None:
        if not order.reason.strip():
            raise Refused("No reason was given.", remedy="Say who works there and why.", code="no-reason")
        if not 1 <= order.minutes <= MOST_MINUTES:
            raise Refused(
                f"{order.minutes} minutes is no length of a visit.",
                remedy=f"Ask for 1 to {MOST_MINUTES} minutes; it can be started again when it is over.",
                code="visit-length",
            )
        if running := [each for each in self._running() if set(each.receivers) & set(receivers)]:
            raise Refused(
                f"Work is in progress there already: {running[0].reason}.",
                remedy=f"Wait until it is over, or end it: gatepost visit end {running[0].id}",
                code="visit-running",
            )
        if busy := [name for name in receivers if self.planning(name)]:
            raise Refused(
                f"Changes for {busy[0]} are being worked out or written at this moment.",
                remedy="Wait until that is done; `gatepost plan list` shows how far it is.",
                code="plan-running",
            )

    def _pick_up_unlocked(self) -> None:
        """What the ledger has as unlocked and no visit knows of, because the database was lost: it is to be locked."""
        known = {name for each in self._visits.values() for name in each.unlocked}
        left = tuple(sorted(name for name in self._ledger.unlocked() - known if name in self._site.receivers))
        if not left:
            return
        now, newest = self._clock.now(), self._journal.newest
        found = Visit(
            id=f"v-{secrets.token_hex(4)}", scope=VisitScope.SITE, name="", receivers=left, reason=_LOST,
            asked_by="gateway", minutes=0, started=now, until=now, state=VisitState.LOCKING, unlocked=left, ended=now,
            ended_by="gateway", epoch=newest.epoch, number=newest.number, boot_id=self._boot_id,
        )  # fmt: skip
        self._visits[found.id] = found
        log.warning("visit.lost", receivers=list(left))

    def _rebased(self, visit: Visit) -> Visit:
        """Its end by this run's monotonic clock; never later than its whole length from now."""
        if visit.boot_id == self._boot_id:
            return visit
        left_s = 60.0 * visit.minutes
        if self._trust.trusted:
            left_s = min(left_s, max(0.0, (visit.until - self._clock.now()).total_seconds()))
        return replace(visit, boot_id=self._boot_id, until_s=self._clock.monotonic() + left_s)
