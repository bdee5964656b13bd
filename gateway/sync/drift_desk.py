"""Open drift and what people decide about it; and seeing when nothing of it is left (`ports.DriftDesk`).

A decision is in the ledger before anything is written because of it. What it asks for is then brought to the receiver
by a plan to the roster like any other, with snapshot, guard and proof. Where no roster was ever brought, or the roster
waits, the decision is kept and the next plan heeds it.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from gateway.clock import Clock
from gateway.domain.drift import Decision, Drift, DriftItem, DriftKind, DriftPolicy, DriftState, outputs_of
from gateway.domain.events import EventDraft, EventName
from gateway.domain.mirror import Mirror
from gateway.domain.transmitter import BUILT_IN_KINDS, Kind, write_serial
from gateway.errors import GatepostError, NotFound, Refused, StoreUnavailable
from gateway.ports import Commit, Decided, DriftLedger, EventFilter, Journal, Mirrors, Revocations
from gateway.sync.drafting import Drafter, RosterInForce
from gateway.sync.drift_book import DriftBook
from gateway.sync.drift_rules import left_of, slots_by_serial
from gateway.sync.drift_words import decided_words, drift_item
from gateway.sync.following import follow
from gateway.sync.preparing import Preparer
from gateway.sync.runner import SyncRunner
from gateway.sync.site import Site

__all__ = ["DriftDesk"]

_WAKING = EventFilter(
    names=frozenset(
        {
            EventName.SLOT_CHANGED,
            EventName.DRIFT_FOUND,
            EventName.PLAN_APPLIED,
            EventName.ROSTER_FETCHED,
            EventName.RECEIVER_REPLACED,
            EventName.GATEWAY_STARTED,
        }
    )
)
_UNDECIDED = frozenset({DriftState.OPEN, DriftState.STANDS})


class DriftDesk:
    """`ports.DriftDesk`. `run` must be running for drift to end by itself."""

    def __init__(
        self,
        *,
        site: Site,
        clock: Clock,
        journal: Journal,
        mirrors: Mirrors,
        ledger: DriftLedger,
        book: DriftBook,
        drafter: Drafter,
        preparer: Preparer,
        runner: SyncRunner,
        revocations: Revocations,
        rosters: RosterInForce,
    ) -> None:
        self._site = site
        self._clock = clock
        self._journal = journal
        self._mirrors = mirrors
        self._ledger = ledger
        self._book = book
        self._drafter = drafter
        self._preparer = preparer
        self._runner = runner
        self._revocations = revocations
        self._rosters = rosters

    # --- looking ---

    def open(self, receiver: str | None = None) -> tuple[DriftItem, ...]:
        """See `ports.DriftDesk`."""
        if receiver is not None:
            self._site.with_slots(receiver)
        names = self._site.names_with_slots() if receiver is None else (receiver,)
        return tuple(item for name in names for item in self._items(name))

    def _items(self, receiver: str) -> list[DriftItem]:
        left = self._left(receiver)
        revoked = self._ledger.revocations()
        return [self._item(left[serial]) for serial in sorted(left) if serial not in revoked]

    def _left(self, receiver: str) -> dict[int, Drift]:
        """By serial what is left of what the ledger keeps, and who was there before and is not listed."""
        mirror = self._mirrors.load(receiver)
        if mirror is None or not mirror.confirmed:
            return {drift.serial: drift for drift in self._book.drifts(receiver)}
        desired = self._drafter.desired(mirror) if self._rosters.in_force is not None else None
        wanted = desired.wanted if desired else {}
        kept = [left_of(drift, mirror, wanted.get(drift.serial)) for drift in self._book.drifts(receiver)]
        found = {drift.serial: drift for drift in kept if drift is not None}
        before = self._book.there_before(mirror, desired.listed) if desired else frozenset()
        return {serial: self._there_before(mirror, serial) for serial in before} | found

    def _there_before(self, mirror: Mirror, serial: int) -> Drift:
        slots = slots_by_serial(mirror)[serial]
        pairs = frozenset(pair for slot in slots for pair in slot.pairs)
        drift = Drift(
            receiver=mirror.receiver,
            serial=serial,
            kind=DriftKind.EXTRA,
            since=self._clock.now(),
            origin=None,
            before=None,
            after=replace(slots[0], outputs=outputs_of(pairs)),
            given=outputs_of(pairs),
            revision=mirror.revision,
        )
        return drift.adopted("settings") if self._book.policy(mirror.receiver) is DriftPolicy.ADOPT else drift

    def _item(self, drift: Drift) -> DriftItem:
        mirror = self._mirrors.load(drift.receiver)
        slots = slots_by_serial(mirror).get(drift.serial, []) if mirror else []
        holder, kind = self._row(drift.serial)
        return drift_item(
            drift,
            self._book.policy(drift.receiver),
            self._site.facts[drift.receiver],
            self._site.zone,
            holder=holder,
            kind=kind,
            held=slots,
            was_there=drift.key not in self._ledger.drifts(),
        )

    def _row(self, serial: int) -> tuple[str, Kind]:
        in_force = self._rosters.in_force
        entry = in_force.roster.by_serial().get(serial) if in_force else None
        if in_force is None or entry is None:
            return "", BUILT_IN_KINDS["any"]
        return entry.holder, in_force.roster.kinds.get(entry.kind) or BUILT_IN_KINDS["any"]

    # --- deciding ---

    async def decide(self, receiver: str, serial: int, decision: Decision, *, asked_by: str) -> Decided:
        """See `ports.DriftDesk`."""
        self._site.with_slots(receiver)
        drift = self._left(receiver).get(serial)
        if drift is None:
            raise NotFound(
                f"Nothing about transmitter {write_serial(serial)} is open at {receiver}.",
                remedy="List what is open: gatepost drift list",
            )
        item = self._item(drift)
        if decision not in item.decisions:
            raise Refused(
                f"{decision.value} makes no sense here: {item.words}",
                remedy=f"Use one of: {', '.join(each.value for each in item.decisions)}.",
                code="decision-impossible",
            )
        left = await self._take(drift, decision, asked_by)
        shown = self._item(left) if left is not None else None
        words = decided_words(decision, shown, serial, receiver)
        if decision not in (Decision.REMOVE, Decision.RESTORE):
            return Decided(shown, "", words)
        plan, then = await self._bring(receiver, asked_by)
        return Decided(shown, plan, f"{words} {then}")

    async def _take(self, drift: Drift, decision: Decision, asked_by: str) -> Drift | None:
        """Durable when it returns; what is left of the drift."""
        match decision:
            case Decision.ADOPT:
                left = drift.adopted(asked_by)
            case Decision.REMOVE:
                left = drift.condemned(asked_by)
            case Decision.RESTORE:
                left = drift.given_back(asked_by)
            case Decision.REVOKE:
                await self._revocations.revoke(
                    drift.serial, asked_by=asked_by, reason=f"decided about a change found at {drift.receiver}"
                )
                await self._end(drift.receiver, [drift], how="revoked", asked_by=asked_by)
                return None
        if left.is_empty:
            await self._end(drift.receiver, [drift], how="restored", asked_by=asked_by)
            return None
        await self._ledger.keep_drift([left])
        data = {"serial": write_serial(drift.serial), "decision": decision.value, "asked_by": asked_by}
        await self._tell(EventName.DRIFT_DECIDED, drift.receiver, [data])
        return left

    async def _bring(self, receiver: str, asked_by: str) -> tuple[str, str]:
        """Start a plan; its id, and what happens next in a sentence."""
        if not await self._preparer.was_applied(receiver):
            return (
                "",
                f"It is written when the roster is first brought there: gatepost roster apply --receiver {receiver}",
            )
        try:
            plan = await self._runner.start(receiver, asked_by=asked_by)
        except Refused as fault:
            if fault.code != "plan-running":
                return "", f"It waits: {fault.message} {fault.remedy}"
            self._runner.owe(receiver)
            return "", "Other changes are being written there at this moment; this comes right after them."
        except GatepostError as fault:
            self._runner.owe(receiver)
            return "", f"It is written as soon as that is possible: {fault.message}"
        return plan.id, f"The change {plan.id} is {plan.state.value}." + (f" {plan.hold}" if plan.hold else "")

    # --- ending ---

    async def run(self) -> None:
        """End what has settled, now and whenever something happens; runs until it is cancelled."""
        for name in self._site.names_with_slots():
            await self._tidy(name)
        async for event in follow(self._journal, _WAKING):
            names = self._site.names_with_slots()
            if event.name is EventName.RECEIVER_REPLACED and event.data.get("confirmed"):
                await self._start_anew(event.receiver)
            for name in (event.receiver,) if event.receiver in names else names:
                await self._tidy(name)

    async def _tidy(self, receiver: str) -> None:
        """Keep what is left of each drift. What can't be kept now is tried again when the next thing happens."""
        mirror = self._mirrors.load(receiver)
        if mirror is None or not mirror.confirmed or not self._book.drifts(receiver):
            return
        wanted = self._drafter.desired(mirror).wanted if self._rosters.in_force is not None else {}
        ended, notes = [], []
        for drift in self._book.drifts(receiver):
            left = left_of(drift, mirror, wanted.get(drift.serial))
            if left is None:
                ended.append(drift)
            elif left != drift:
                notes.append(left)
        try:
            await self._ledger.keep_drift(notes)
            if ended:
                await self._end(receiver, ended, how="settled", asked_by="")
        except StoreUnavailable:
            return

    async def _start_anew(self, receiver: str) -> None:
        """Another receiver counts its revisions otherwise; what was taken away at the gate still stands."""
        notes = [replace(drift, revision=0) for drift in self._book.drifts(receiver)]
        try:
            await self._ledger.keep_drift(notes)
        except StoreUnavailable:
            return

    async def _end(self, receiver: str, drifts: Iterable[Drift], *, how: str, asked_by: str) -> None:
        drifts = list(drifts)
        await self._ledger.keep_drift([], [drift.key for drift in drifts])
        data = [
            {"serial": write_serial(drift.serial), "kind": drift.kind.value, "how": how, "asked_by": asked_by}
            for drift in drifts
        ]
        await self._tell(EventName.DRIFT_SETTLED, receiver, data)

    async def _tell(self, name: EventName, receiver: str, data: list[dict[str, str]]) -> None:
        """`left` is how many others at this receiver still wait for somebody's word."""
        left = sum(1 for item in self._items(receiver) if item.state in _UNDECIDED and item.since is not None)
        events = tuple(EventDraft(name, receiver, {**each, "left": left}) for each in data)
        await self._journal.commit(Commit(events=events))
