"""Visit sheets: what is to be done at receivers that no line reaches, ticked by whoever was there.

The mirror of such a receiver is what was entered and ticked. A tick is durable, with the mirror and its event, before
anybody is told; then the plan is looked at again. A new roster, a date, a revocation change what is still open and
never what was ticked. Nothing is ever written anywhere by itself, so nothing here waits for a timetable.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Awaitable, Callable, Mapping, Sequence
from contextlib import asynccontextmanager
from dataclasses import replace
from datetime import datetime

from gateway.clock import Clock
from gateway.domain.events import EventDraft, EventName
from gateway.domain.mirror import Mirror
from gateway.domain.plan import Plan, PlanState
from gateway.domain.receiver import Slot
from gateway.domain.revocation import RevocationState
from gateway.domain.roster import Roster
from gateway.domain.visit_sheet import LineState, SheetLine, Tick, VisitSheet
from gateway.errors import GatepostError, NotFound, Refused, StoreError, Unsupported
from gateway.ports import (
    Archive,
    Commit,
    Documents,
    EventFilter,
    Holding,
    Journal,
    Ledger,
    Mirrors,
    Plans,
    Snapshots,
    Trust,
)
from gateway.sync.by_hand.holdings import HandLimits, holdings_of_roster, holdings_of_slots, slots_of_holdings
from gateway.sync.by_hand.lines import pairs_of, works
from gateway.sync.by_hand.outlook import Lookout, Outlook
from gateway.sync.by_hand.sheets import Edit, Sheets
from gateway.sync.by_hand.telling import owed_event, revocation_event, slot_events
from gateway.sync.by_hand.ticking import ticked, unticked
from gateway.sync.by_hand.under_way import UnderWay
from gateway.sync.drafting import Drafter, RosterInForce
from gateway.sync.following import follow
from gateway.sync.preparing import Prepared, Preparer
from gateway.sync.site import Site
from gateway.sync.waiting import Waiting
from gateway.sync.words import Person

__all__ = ["LOOK_AGAIN_S", "VisitDesk"]

LOOK_AGAIN_S = 300.0
"""How long a full disk can keep a sheet as it was after it has room again: our choice."""
_WAKING = EventFilter(
    names=frozenset(
        {
            EventName.ROSTER_FETCHED,
            EventName.REVOCATION_PENDING,
            EventName.REVOCATION_LIFTED,
            EventName.CLOCK_TRUSTED,
            EventName.ROSTER_RESUMED,
        }
    )
)


class VisitDesk:
    """`ports.VisitSheets`. `load` before anything else; `run` keeps the sheets up to date."""

    def __init__(
        self,
        *,
        site: Site,
        limits: HandLimits,
        clock: Clock,
        trust: Trust,
        journal: Journal,
        mirrors: Mirrors,
        documents: Documents,
        plans: Plans,
        ledger: Ledger,
        rosters: RosterInForce,
        drafter: Drafter,
        preparer: Preparer,
        archive: Archive,
        snapshots: Snapshots,
        waiting: Waiting,
    ) -> None:
        self._site = site
        self._limits = limits
        self._clock = clock
        self._trust = trust
        self._journal = journal
        self._mirrors = mirrors
        self._ledger = ledger
        self._rosters = rosters
        self._drafter = drafter
        self._preparer = preparer
        self._archive = archive
        self._snapshots = snapshots
        self._lookout = Lookout(drafter=drafter, preparer=preparer, ledger=ledger, journal=journal, waiting=waiting)
        self._sheets = Sheets(documents)
        self._under_way = UnderWay(journal=journal, plans=plans, archive=archive)
        self._outlooks: dict[str, Outlook] = {}
        self._locks = {name: asyncio.Lock() for name in site.names_by_hand()}

    async def load(self) -> None:
        """Read the sheets and their plans. Raises StoreDamaged."""
        self._sheets.load(self.names)
        for name in self.names:
            await self._under_way.load(name, self._sheets.of(name).head.plan)

    # --- asking ---

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(self._locks)

    def states(self, serial: int) -> Mapping[str, RevocationState]:
        """See `ports.ByHand`. Where nobody has said what a receiver holds, it is owed a look."""
        found = {}
        for name in self.names:
            mirror = self._mirrors.load(name)
            owed = mirror is None or bool(pairs_of(mirror, serial))
            found[name] = RevocationState.OWED if owed else RevocationState.BY_HAND
        return found

    def owed(self, receiver: str) -> int:
        """How many revoked transmitters a receiver without a line may still let in."""
        revoked = self._ledger.revocations()
        return sum(1 for serial in revoked if self.states(serial)[receiver] is RevocationState.OWED)

    def sheet(self, receiver: str) -> VisitSheet:
        self._check(receiver)
        sheet, outlook = self._sheets.of(receiver), self._outlooks.get(receiver)
        mirror = self._mirrors.load(receiver)
        fault = _unknown(receiver) if mirror is None else outlook.fault if outlook else None
        plan = self._under_way.of(receiver)
        return VisitSheet(
            receiver=receiver,
            holdings_known=mirror is not None,
            lines=sheet.ordered(),
            began=sheet.head.began,
            plan=sheet.head.plan,
            held=outlook.held.id if outlook and outlook.held else "",
            left_out=plan.left_out if plan else (),
            problem=fault.message if fault else "",
            remedy=fault.remedy if fault else "",
        )

    # --- ticking ---

    async def tick(self, receiver: str, number: int, *, done_by: str, asked_by: str) -> SheetLine:
        async with self._turn(receiver):
            line, mirror = self._line(receiver, number), self._known(receiver)
            if line.state is LineState.TICKED:
                return line
            after, taken = ticked(mirror, line)
            tick = Tick(done_by, asked_by, self._clock.now(), self._trust.trusted)
            done = replace(line, state=LineState.TICKED, tick=tick, taken=taken)
            told = slot_events(mirror, after, asked_by=asked_by, tick=tick) + self._of_revoked(
                mirror, after, line.serial
            )
            await self._keep(receiver, self._sheets.edit_lines(receiver, done), told, after)
            return done

    async def untick(self, receiver: str, number: int, *, asked_by: str) -> SheetLine:
        async with self._turn(receiver):
            line, mirror = self._line(receiver, number), self._known(receiver)
            if line.state is not LineState.TICKED:
                return line
            after = unticked(mirror, line)
            back = replace(line, state=LineState.OPEN, tick=None, taken=())
            told = slot_events(mirror, after, asked_by=asked_by, tick=None) + self._of_revoked(
                mirror, after, line.serial
            )
            await self._keep(receiver, self._sheets.edit_lines(receiver, back), told, after)
        return self._sheets.of(receiver).lines.get(number, back)

    def _of_revoked(self, before: Mirror, after: Mirror, serial: int) -> tuple[EventDraft, ...]:
        """That a revoked transmitter is gone, or there after all."""
        revoked = self._ledger.revocations().get(serial)
        had, has = bool(pairs_of(before, serial)), bool(pairs_of(after, serial))
        if revoked is None or had == has:
            return ()
        return ((owed_event if has else revocation_event)(after.receiver, revoked),)

    async def _keep(self, receiver: str, edit: Edit, told: Sequence[EventDraft], mirror: Mirror) -> None:
        """The tick, the mirror and the events, durable together; then the plan, which can be made up for later."""
        await self._journal.commit(Commit(events=tuple(told), mirror=mirror, documents=edit.documents))
        self._sheets.keep(receiver, edit)
        with contextlib.suppress(StoreError):
            await self._settle(receiver)

    # --- what it holds ---

    async def hold(self, receiver: str, holdings: Sequence[Holding], *, asked_by: str) -> VisitSheet:
        async with self._turn(receiver):
            slots = slots_of_holdings(receiver, holdings, self._limits.limits(receiver))
            await self._hold(receiver, slots, asked_by)
        return self.sheet(receiver)

    async def hold_as(self, receiver: str, roster: Roster, *, asked_by: str) -> VisitSheet:
        self._check(receiver)
        holdings = holdings_of_roster(
            roster, self._site.facts[receiver], self._limits.limits(receiver), self._site.name
        )
        if roster.entries and not holdings:
            raise Refused(
                f"No row of this list names anything of {receiver}.",
                remedy=f"Its rights name {receiver}/OUTPUT; if it is empty, say so instead (--empty).",
                code="holdings-unfit",
            )
        return await self.hold(receiver, holdings, asked_by=asked_by)

    async def hold_snapshot(self, receiver: str, snapshot: str, *, asked_by: str) -> VisitSheet:
        self._check(receiver)
        found = await self._snapshots.read(snapshot)
        return await self.hold(receiver, holdings_of_slots(found.slots), asked_by=asked_by)

    async def _hold(self, receiver: str, slots: Mapping[int, Slot], asked_by: str) -> None:
        before = self._mirrors.load(receiver)
        limits, identity = self._limits.limits(receiver), self._limits.identity(receiver)
        revision = before.revision + 1 if before else 1
        after = Mirror(receiver, identity, limits, revision, slots)
        told = slot_events(before, after, asked_by=asked_by, tick=None) if before else ()
        await self._journal.commit(Commit(events=told, mirror=after))
        await self._archive.take(receiver, after, reason="asked", status=None)
        await self._settle(receiver)

    # --- plans ---

    async def current_plan(self, receiver: str) -> Plan:
        """Plan now: what the sheet carries out, what waits for approval, or a plan with nothing to do.

        Raises Refused with `holdings-unknown`, `no-roster`, `receiver-full`, ...; NotFound, StoreUnavailable.
        """
        async with self._turn(receiver):
            mirror = self._known(receiver)
            await self._settle(receiver)
            outlook = self._outlooks[receiver]
            if outlook.fault is not None:
                raise outlook.fault
            plan = self._under_way.of(receiver)
            if plan is not None and not plan.state.is_final:
                return plan
            if outlook.held is not None:
                return outlook.held
            done = replace(self._drafter.draft(mirror), state=PlanState.APPLIED, outcome="Nothing to do.")
            await self._journal.commit(Commit(plans=(done,)))
            return done

    def draft(self, mirror: Mirror) -> Plan:
        """What the sheet would ask for, from this mirror. Raises Refused, NotFound."""
        return replace(self._drafter.draft(mirror), state=PlanState.PREVIEW)

    async def approve(self, plan_id: str) -> Plan:
        """Let a held plan onto the sheet. Raises as `Preparer.approved`."""
        receiver = (await self._preparer.held(plan_id)).receiver
        async with self._turn(receiver):
            await self._settle(receiver)
            plan = (await self._preparer.approved(plan_id)).plan
            await self._under_way.take_up(receiver, plan)
            await self._settle(receiver)
        return self._under_way.of(receiver) or plan

    async def put_on(self, receiver: str, prepare: Callable[[Mirror], Awaitable[Prepared]]) -> Plan:
        """A plan that somebody else prepares, from what the receiver holds as far as known, onto its sheet.

        Raises Refused with `holdings-unknown`, and what `prepare` raises.
        """
        async with self._turn(receiver):
            plan = (await prepare(self._known(receiver))).plan
            if plan.state is PlanState.PENDING:
                await self._under_way.take_up(receiver, plan)
            await self._settle(receiver)
        return plan

    def plan_progress(self, plan_id: str) -> tuple[int, int, str] | None:
        """Done, total and words of a plan that is on a sheet; None when it is not."""
        for receiver in self.names:
            plan = self._under_way.of(receiver)
            if plan is not None and plan.id == plan_id and not plan.state.is_final:
                words = f"on the visit sheet of {receiver}, {len(self._sheets.of(receiver).open)} lines open"
                return plan.done, len(plan.changes), words
        return None

    # --- keeping up ---

    async def run(self) -> None:
        """Keep the sheets up to date; runs until it is cancelled."""
        async with asyncio.TaskGroup() as group:
            group.create_task(self._follow(), name="visit sheets: what changes them")
            while True:
                await self.settle_all()
                await self._clock.sleep(LOOK_AGAIN_S)

    async def _follow(self) -> None:
        async for _ in follow(self._journal, _WAKING):
            await self.settle_all()

    async def settle_all(self) -> bool:
        """Look at every sheet again. What can't be kept now is looked at again later; then it is False."""
        settled = True
        for name in self.names:
            try:
                async with self._turn(name):
                    await self._settle(name)
            except GatepostError:
                settled = False
        return settled

    async def _settle(self, receiver: str) -> None:
        """Bring plan and open lines to what is to be done now. The turn is taken."""
        mirror = self._mirrors.load(receiver)
        if mirror is None:
            return
        if mirror.limits != self._limits.limits(receiver):
            mirror = replace(mirror, limits=self._limits.limits(receiver))
            await self._journal.commit(Commit(mirror=mirror))
        named = self._lookout.relabelled(mirror)
        if named is not mirror:
            await self._journal.commit(Commit(mirror=named))
        facts = self._site.facts[receiver]
        outlook = await self._lookout.look(named, facts, self._under_way.of(receiver))
        await self._under_way.follow(receiver, named, outlook)
        wanted = works(named, outlook.changes, facts, self._person)
        plan = self._under_way.of(receiver)
        edit = self._sheets.reconcile(receiver, wanted, plan.id if plan else "", self._now())
        if edit.documents:
            await self._journal.commit(Commit(documents=edit.documents))
        self._sheets.keep(receiver, edit)
        self._outlooks[receiver] = outlook

    # --- looking things up ---

    @asynccontextmanager
    async def _turn(self, receiver: str) -> AsyncIterator[None]:
        self._check(receiver)
        async with self._locks[receiver]:
            yield

    def _check(self, receiver: str) -> None:
        if receiver not in self._locks:
            self._site.receiver(receiver)
            raise Unsupported(
                f"A line reaches {receiver}, so it needs no visit sheet.",
                remedy=f"See what is pending there: gatepost roster preview --receiver {receiver}",
            )

    def _line(self, receiver: str, number: int) -> SheetLine:
        line = self._sheets.of(receiver).lines.get(number)
        if line is None:
            raise NotFound(
                f"The visit sheet of {receiver} has no line {number}.",
                remedy=f"Look at it as it stands: gatepost visit-sheet show {receiver}",
            )
        return line

    def _known(self, receiver: str) -> Mirror:
        mirror = self._mirrors.load(receiver)
        if mirror is None:
            raise _unknown(receiver)
        return mirror

    def _person(self, slot: Slot) -> Person:
        in_force = self._rosters.in_force
        entry = in_force.roster.by_serial().get(slot.serial) if in_force else None
        if in_force is None or entry is None:
            return Person(slot.name)
        kind = in_force.roster.kinds.get(entry.kind)
        return Person(entry.holder, kind) if kind else Person(entry.holder)

    def _now(self) -> datetime:
        return self._clock.now()


def _unknown(receiver: str) -> Refused:
    return Refused(
        f"Nobody has said yet what {receiver} holds.",
        remedy=f"Say so once: gatepost visit-sheet holds {receiver} --empty, or --from FILE.",
        code="holdings-unknown",
    )
