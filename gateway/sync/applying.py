"""Writing a plan into a receiver, through whatever happens on the way.

An application goes in rounds. A round takes over what an interrupted one has left, brings the mirror up to date,
plans again against the roster and the revocations in force, and writes what is left: one frame of slots at a time,
each read back, each touched block proven by its CRC-32 and recorded in the mirror. Whatever goes wrong ends the
round, and `Patience` says whether there is another. So there is one way back from a cut line, a lost power supply,
a hand at the board, a revocation in between and a restart of this program: the next round (rules 2, 3 and 5).

It never decides what to write; that is `drafting`. A plan that would now write something else than what was let
through by the guard ends as superseded, and whoever started it makes a new one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import groupby

from gateway.clock import Clock
from gateway.domain.events import EventDraft, EventName
from gateway.domain.mirror import Mirror
from gateway.domain.plan import Change, ChangeKind, Plan, PlanState
from gateway.domain.receiver import Slot
from gateway.domain.urgency import Urgency
from gateway.errors import GatepostError, NotProven, ReceiverRefused, StoreUnavailable
from gateway.ports import Commit, Journal, MirrorKeeper, Mirrors, Progress, Receiver
from gateway.sync.book import Book
from gateway.sync.matching import same_slot
from gateway.sync.overlap import Overlap
from gateway.sync.patience import PATIENCE_S, Patience
from gateway.sync.planning import targets
from gateway.sync.receipting import NoReceipts, Receipting
from gateway.sync.settings_desk import SettingsDesk
from gateway.sync.takeover import take_over
from gateway.sync.turns import Turns
from gateway.sync.words import plan_summary

__all__ = ["Applier", "Redraft"]

Redraft = Callable[[Plan, Mirror], Plan]
"""What is left of a plan, made anew from this mirror under the same id."""


_PROVEN_AT_ONCE = 4
"""Blocks that one reading of the sums proves: our choice. Where changes lie scattered, each frame may finish a block of
its own, and a reading for each would take the wire longer than the writing."""


class _Again(Exception):
    """A revocation was made in between: the targets are decided anew."""


class Applier:
    """Applies plans; several at once for several receivers, one at a time for each (the caller sees to that)."""

    def __init__(
        self,
        *,
        clock: Clock,
        journal: Journal,
        mirrors: Mirrors,
        keeper: MirrorKeeper,
        turns: Turns,
        settings: SettingsDesk,
        receipts: Receipting | None = None,
        patience_s: float = PATIENCE_S,
    ) -> None:
        self.settings = settings
        self.receipts = receipts or NoReceipts()
        self.clock = clock
        self.journal = journal
        self.mirrors = mirrors
        self.keeper = keeper
        self.turns = turns
        self.patience_s = patience_s

    async def apply(
        self,
        plan: Plan,
        receiver: Receiver,
        redraft: Redraft,
        *,
        fresh: Mirror | None = None,
        progress: Progress | None = None,
        asked_by: str = "",
    ) -> Plan:
        """Write a durable plan and prove it; returns it as it ended: applied, failed or superseded.

        `fresh` is a mirror that was refreshed for this plan just now; without it (after a restart) the first
        round takes over what an earlier application left. Failures on the way are in the plan's `outcome`;
        StoreUnavailable is raised when even the outcome can't be kept. Cancellation is safe: the
        plan stays unfinished and `apply` can be called for it again.
        """
        application = _Application(self, plan, receiver, redraft, fresh=fresh, progress=progress, asked_by=asked_by)
        return await application.run()


class _Application:
    """One plan on its way into one receiver."""

    def __init__(
        self,
        deps: Applier,
        plan: Plan,
        receiver: Receiver,
        redraft: Redraft,
        *,
        fresh: Mirror | None,
        progress: Progress | None,
        asked_by: str,
    ) -> None:
        self._deps = deps
        self._plan = plan
        self._receiver = receiver
        self._redraft = redraft
        self._fresh = fresh
        self._progress = progress
        self._asked_by = asked_by
        self._turn = deps.turns.of(plan.receiver)
        self._stamp = self._turn.stamp
        self._allowed = {_key(change) for change in plan.changes if change.guarded}
        self._began = deps.clock.monotonic()
        self._patience = Patience(self._began, deps.patience_s)
        self._left = 0

    async def run(self) -> Plan:
        while True:
            try:
                state = await self._round()
            except _Again:
                continue
            except GatepostError as fault:
                pause_s = self._patience.pause_after(fault, self._deps.clock.monotonic())
                if pause_s is None:
                    return await self._failed(fault)
                self._tell(f"{fault.message} Trying again.")
                await self._deps.clock.sleep(pause_s)
                continue
            if state is not None:
                return await (self._applied() if state is PlanState.APPLIED else self._superseded())

    # --- one round ---

    async def _round(self) -> PlanState | None:
        """None: another round is needed."""
        self._stamp = self._turn.stamp
        mirror = await self._true_mirror()
        fresh = self._redraft(self._plan, mirror)
        if fresh.roster_digest != self._plan.roster_digest or not self._is_allowed(fresh):
            return PlanState.SUPERSEDED
        await self._adopt(fresh, mirror)
        if fresh.changes and not await self._write(Book(self._receiver, mirror), mirror, fresh.changes):
            return None
        await self._write_settings()
        return PlanState.APPLIED

    async def _true_mirror(self) -> Mirror:
        if self._fresh is not None:
            mirror, self._fresh = self._fresh, None
            return mirror
        known = self._deps.mirrors.load(self._plan.receiver)
        if known is not None and known.confirmed:
            await take_over(self._receiver, self._deps.keeper, known, targets(self._plan.changes))
        return await self._deps.keeper.refresh(self._plan.receiver, urgency=Urgency.BULK)

    def _is_allowed(self, fresh: Plan) -> bool:
        return all(_key(change) in self._allowed for change in fresh.changes if change.guarded)

    async def _adopt(self, fresh: Plan, mirror: Mirror) -> None:
        """Make what is going to be written durable, and remember what has been."""
        done = tuple(change for change in self._plan.changes if _is_done(change, mirror))
        self._left = len(fresh.changes)
        plan = replace(self._plan, state=PlanState.APPLYING, done=len(done))
        if {_key(c) for c in (*done, *fresh.changes)} != {_key(c) for c in plan.changes}:
            plan = replace(
                plan,
                changes=(*done, *fresh.changes),
                unchanged=fresh.unchanged - sum(1 for change in done if change.after is not None),
                base_revision=mirror.revision,
                left_out=fresh.left_out,
            )
        if plan != self._plan:
            await self._deps.journal.commit(Commit(plans=(plan,)))
            self._plan = plan

    # --- writing ---

    async def _write(self, book: Book, mirror: Mirror, changes: tuple[Change, ...]) -> bool:
        """True when at the end every block has the CRC that it must have."""
        target = targets(changes)
        first = {change.slot: change for change in reversed(changes)}
        whole = True
        async with Overlap() as beside:
            for urgency, numbers in groupby(target, key=lambda number: _phase(first[number])):
                waiting = list(numbers)
                finished: set[int] = set()
                while waiting:
                    size = max(1, self._receiver.slots_per_write)
                    group, waiting = waiting[:size], waiting[size:]
                    await self._write_frame(book, {number: target[number] for number in group}, urgency[1])
                    self._left -= sum(1 for change in changes if change.slot in group)
                    unfinished = {mirror.limits.block_of(waiting[0])} if waiting else set()
                    finished |= {mirror.limits.block_of(number) for number in group} - unfinished
                    if len(finished) >= _PROVEN_AT_ONCE or not waiting:
                        whole = await self._prove(book, finished, urgency[1], beside)
                        finished = set()
                    self._patience.went_well(self._deps.clock.monotonic())
                    self._tell(next(change.words for change in changes if change.slot == group[-1]))
        return whole

    async def _write_settings(self) -> None:
        """Those of a restore, each read back; what a cut has already set is not set again."""
        wanted = self._plan.settings
        if wanted is None:
            return
        self._tell("setting on-times and local programming")
        await self._deps.settings.change(
            self._plan.receiver,
            on_times_s=wanted.on_times_s,
            local_programming=wanted.local_programming,
            asked_by=self._asked_by,
        )

    async def _write_frame(self, book: Book, group: dict[int, Slot | None], urgency: Urgency) -> None:
        async with self._turn.lock:
            self._check_stamp()
            await self._receiver.write_slots(
                [slot for slot in group.values() if slot is not None],
                [number for number, slot in group.items() if slot is None],
                book.seen,
                urgency=urgency,
            )
        found = await self._receiver.read_slots(list(group), urgency=urgency)
        wrong = [number for number, slot in group.items() if not same_slot(found.get(number), slot)]
        if wrong:
            self._check_stamp()
            raise NotProven(
                f"{self._plan.receiver} acknowledged slot {wrong[0]}, and reading it back shows something else.",
                remedy="If this happens again the receiver's memory may be worn out or faulty: have it tested.",
            )
        book.wrote(group)

    async def _prove(self, book: Book, blocks: set[int], urgency: Urgency, beside: Overlap) -> bool:
        """Prove finished blocks by their CRC. True when no other block differs either."""
        stated = await self._receiver.read_block_crcs(urgency=urgency)
        await beside.begin(book.record(self._deps.keeper, stated, blocks))
        differing = book.differing(stated)
        if differing & blocks:
            self._check_stamp()
            raise ReceiverRefused(
                f"Something else in {self._plan.receiver} changed while it was being written.",
                remedy="Wait until nobody works at the board, then apply the roster again.",
                code="slot-changed",
            )
        return not differing

    def _check_stamp(self) -> None:
        if self._turn.stamp != self._stamp:
            raise _Again

    # --- telling ---

    def _tell(self, words: str) -> None:
        total = len(self._plan.changes)
        if self._progress is not None:
            self._progress(total - self._left, total, words)

    async def _applied(self) -> Plan:
        took_s = self._deps.clock.monotonic() - self._began
        outcome = f"{plan_summary(self._plan)}; written and proven in {max(took_s, 0.1):.1f} s."
        if self._plan.settings is not None:
            outcome += " Settings are set and read back."
        stated = await self._deps.receipts.after(self._plan)
        plan = replace(
            self._plan,
            state=PlanState.APPLIED,
            done=len(self._plan.changes),
            outcome=outcome + stated.words,
            receipt=stated.receipt,
        )
        return await self._finish(plan, EventName.PLAN_APPLIED, {"took_s": round(took_s, 3)})

    async def _failed(self, fault: GatepostError) -> Plan:
        done = len(self._plan.changes) - self._left
        outcome = f"{fault} {done} of {len(self._plan.changes)} changes are written; the next run writes the rest."
        plan = replace(self._plan, state=PlanState.FAILED, done=done, outcome=outcome)
        return await self._finish(plan, EventName.PLAN_FAILED, {"problem": fault.message, "remedy": fault.remedy})

    async def _superseded(self) -> Plan:
        why = "The roster or the receiver changed while it was being written; what is pending was worked out anew."
        if self._plan.restores:
            why = "The receiver was changed by somebody else meanwhile. Look at what it holds and restore again."
        elif not self._plan.follows_roster:
            why = "The receiver was changed by somebody else meanwhile. The next run of the roster brings what is left."
        plan = replace(self._plan, state=PlanState.SUPERSEDED, outcome=why)
        await self._keep(Commit(plans=(plan,)))
        return plan

    async def _finish(self, plan: Plan, name: EventName, data: dict[str, object]) -> Plan:
        facts = {
            "plan": plan.id,
            "reason": plan.reason,
            "roster_digest": plan.roster_digest,
            "added": plan.count(ChangeKind.ADDED),
            "changed": plan.count(ChangeKind.CHANGED),
            "removed": plan.count(ChangeKind.REMOVED),
            "unchanged": plan.unchanged,
            "done": plan.done,
            "snapshot": plan.snapshot,
            "receipt": plan.receipt,
            "asked_by": self._asked_by,
        }
        await self._keep(Commit(events=(EventDraft(name, plan.receiver, facts | data),), plans=(plan,)))
        return plan

    async def _keep(self, commit: Commit) -> None:
        while True:
            try:
                await self._deps.journal.commit(commit)
            except StoreUnavailable as fault:
                pause_s = self._patience.pause_after(fault, self._deps.clock.monotonic())
                if pause_s is None:
                    raise
                await self._deps.clock.sleep(pause_s)
            else:
                return


def _phase(change: Change) -> tuple[int, Urgency]:
    """Frames don't mix phases; a revocation's frames go ahead of polls."""
    order = (ChangeKind.REMOVED, ChangeKind.CHANGED, ChangeKind.ADDED)
    return (-1, Urgency.REVOCATION) if change.revoked else (order.index(change.kind), Urgency.BULK)


def _key(change: Change) -> tuple[object, ...]:
    """What a change does, whatever it is called."""
    before = (change.before.serial, change.before.pairs) if change.before else None
    after = (change.after.serial, change.after.pairs, change.after.name, change.after.kind) if change.after else None
    return (change.kind, change.slot, before, after)


def _is_done(change: Change, mirror: Mirror) -> bool:
    held = mirror.slots.get(change.slot)
    if change.after is not None:
        return same_slot(held, change.after)
    return held is None or (change.before is not None and held.serial != change.before.serial)
