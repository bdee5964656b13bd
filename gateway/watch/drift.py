"""Finds what was changed at a receiver by other hands, and keeps it before anything else is told.

A slot change is ours when a recent plan that was cut meant the slot to be so, when it freed the slot of a revoked
transmitter, or when the receiver was cleared on purpose: an interrupted write of ours is never drift (rule 2 of the
design). Everything else is drift, whether the ring says board or line, for another tool may be on the same line. What
was done at the board is drift even when it is what a plan meant.

Drift is in the ledger before the mirror moves on, so a cut between the two finds it again and loses nothing. A
receiver that was reset, or is empty all at once, is not taken apart into missing transmitters: the roster waits there.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from gateway.clock import Clock
from gateway.domain.drift import Drift, DriftPolicy, Pairs, found
from gateway.domain.events import EventDraft, EventName
from gateway.domain.matching import same_slot
from gateway.domain.mirror import Mirror
from gateway.domain.plan import ChangeKind, PlanState
from gateway.domain.receiver import Origin, Slot, Status
from gateway.domain.transmitter import write_serial
from gateway.domain.wait import BOARD_RESET, RESET, RosterWait
from gateway.ports import DriftLedger, Keepsakes, Plans
from gateway.watch.slot_changes import SlotChange, slot_data
from gateway.watch.telling import Names

__all__ = ["DriftFinder", "drift_words"]

#: How many of a receiver's newest plans are looked through; our choice: a revocation, its retry and the roster's.
_RECENT_PLANS = 5
#: From so many transmitters on, a memory that is empty all at once counts as reset when nothing says who did it (our
#: choice: fewer can well be taken out one by one).
_EMPTIED = 3

_VERBS = {
    ChangeKind.ADDED: "was added",
    ChangeKind.CHANGED: "was changed",
    ChangeKind.REMOVED: "was taken out",
}
_WHERE = {Origin.BOARD: " at the board", Origin.LINE: " over the line, by another tool"}


@dataclass(frozen=True, slots=True)
class _One:
    """One transmitter's foreign change."""

    serial: int
    before: tuple[Slot, ...]
    after: tuple[Slot, ...]
    origin: Origin | None


class DriftFinder:
    """Finds drift among the changes that a mirror's refresh found. `policies` are by receiver."""

    def __init__(
        self,
        plans: Plans,
        *,
        ledger: DriftLedger,
        clock: Clock,
        policies: Mapping[str, DriftPolicy],
        names: Names | None = None,
        keepsakes: Keepsakes | None = None,
    ) -> None:
        self._plans = plans
        self._keepsakes = keepsakes
        self._ledger = ledger
        self._clock = clock
        self._policies = policies
        self._names = names or Names()

    async def events(
        self,
        receiver: str,
        changes: Sequence[SlotChange],
        revision: int,
        *,
        left: int,
        reset: Origin | None,
        before: Mirror | None = None,
        status: Status | None = None,
    ) -> list[EventDraft]:
        """`drift.found`, with what else is to be told; nothing when all changes are our own.

        `left` is how many slots the memory still holds, `reset` who cleared it since the last refresh; `before` is the
        mirror from then, archived if it was cleared. What was found is durable when this returns. Raises
        StoreUnavailable.
        """
        foreign = await self._foreign(receiver, changes)
        was_reset = reset is not None and not self._is_ours(receiver, reset)
        if not foreign and not (was_reset and await self._is_written(receiver)):
            return []
        cleared = was_reset or _is_emptied(foreign, left)
        kept = await self._keep_last(before, status) if cleared else ""
        told = await self._let_wait(receiver, kept) if cleared else []
        notes = await self._keep(receiver, _learned_since(foreign) if cleared else foreign, revision)
        data: dict[str, Any] = {
            "slots": [slot_data(change) for change in foreign],
            "drift": notes,
            "words": [drift_words(change) for change in foreign],
            "revision": revision,
        }
        if cleared:
            data |= {"cleared": True, "snapshot": kept}
        return [EventDraft(EventName.DRIFT_FOUND, receiver, data), *told]

    # --- whose it is ---

    async def _foreign(self, receiver: str, changes: Sequence[SlotChange]) -> list[SlotChange]:
        if not changes:
            return []
        targets, revoked = await self._targets(receiver), self._ledger.revocations()
        return [
            change
            for change in changes
            if not (
                (change.origin is not Origin.BOARD and _is_meant(change, targets))
                or (change.after is None and self._is_ours(receiver, change.origin))
                or (change.before is not None and change.after is None and change.before.serial in revoked)
            )
        ]

    def _is_ours(self, receiver: str, origin: Origin | None) -> bool:
        """Whether a receiver that loses slots does so because it is being cleared on purpose."""
        wait = self._ledger.waits().get(receiver)
        return wait is not None and wait.reason == RESET and origin is not Origin.BOARD

    async def _is_written(self, receiver: str) -> bool:
        """Whether a plan is under way there, some of which may have been in the memory that was cleared."""
        return any(plan.state is not PlanState.HELD for plan in await self._plans.unfinished(receiver))

    async def _targets(self, receiver: str) -> dict[int, Slot | None]:
        """What plans that were cut meant each slot to be. A plan that was proven has told the mirror itself."""
        recent = await self._plans.newest(receiver=receiver, limit=_RECENT_PLANS)
        older = await self._plans.unfinished(receiver)
        seen: set[int] = set()
        targets: dict[int, Slot | None] = {}
        for plan in (*recent, *(plan for plan in reversed(older) if plan not in recent)):
            if plan.state in (PlanState.HELD, PlanState.PREVIEW):
                continue
            last = {change.slot: change.after for change in plan.changes}
            if plan.state is not PlanState.APPLIED:
                targets |= {number: slot for number, slot in last.items() if number not in seen}
            seen |= last.keys()
        return targets

    # --- keeping ---

    async def _keep_last(self, before: Mirror | None, status: Status | None) -> str:
        """The snapshot with what the memory held before; a reset turns no selector, so the modes are those of now."""
        if self._keepsakes is None or before is None:
            return ""
        return await self._keepsakes.keep(before, reason=BOARD_RESET, status=status)

    async def _let_wait(self, receiver: str, snapshot: str) -> list[EventDraft]:
        """The roster waits until somebody says whether it is to fill the receiver again (rule 11)."""
        before = self._ledger.waits().get(receiver)
        if before is not None and before.kept_digest is None:
            return []
        await self._ledger.begin_wait(RosterWait(receiver, BOARD_RESET, self._clock.now(), "", snapshot))
        data = {"reason": BOARD_RESET, "snapshot": snapshot, "asked_by": ""}
        return [EventDraft(EventName.ROSTER_PAUSED, receiver, data)]

    async def _keep(self, receiver: str, changes: Sequence[SlotChange], revision: int) -> list[dict[str, Any]]:
        known, policy = self._ledger.drifts(), self._policies.get(receiver, DriftPolicy.REMOVE)
        notes, ended, told = [], [], []
        for one in _by_serial(changes):
            before = known.get((receiver, one.serial))
            drift = found(
                receiver,
                one.serial,
                one.before,
                one.after,
                known=before,
                origin=one.origin,
                now=self._clock.now(),
                revision=revision,
            )
            if drift is None:
                ended += [(receiver, one.serial)] if before else []
                continue
            if policy is DriftPolicy.ADOPT and (drift.given_pairs or drift.other):
                drift = replace(drift.adopted("settings"), doomed=False)
            notes.append(drift)
            told.append(self._data(drift))
        await self._ledger.keep_drift(notes, ended)
        return told

    def _data(self, drift: Drift) -> dict[str, Any]:
        return {
            "serial": write_serial(drift.serial),
            "kind": drift.kind.value,
            "origin": drift.origin.value if drift.origin else None,
            "gained": self._rights(drift, drift.given_pairs | drift.kept_pairs),
            "lost": self._rights(drift, drift.taken_pairs),
        }

    def _rights(self, drift: Drift, pairs: Pairs) -> list[str]:
        """Position and output of each pair, as rosters write them."""
        names = self._names
        return [
            f"{names.position(drift.serial, place)}:{names.output(drift.receiver, output) or output}"
            for place, output in sorted(pairs)
        ]


def drift_words(change: SlotChange) -> str:
    """One sentence for people."""
    who = " and ".join(write_serial(serial) for serial in change.serials)
    if change.by_reset:
        return f"Slot {change.number}: transmitter {who} was taken out by a reset of the receiver."
    where = _WHERE.get(change.origin, "") if change.origin else ""
    return f"Slot {change.number}: transmitter {who} {_VERBS[change.kind]}{where}."


def _is_meant(change: SlotChange, targets: Mapping[int, Slot | None]) -> bool:
    return change.number in targets and same_slot(targets[change.number], change.after)


def _learned_since(changes: Sequence[SlotChange]) -> list[SlotChange]:
    """What stands in a memory that was cleared: whatever was there before says nothing about it."""
    return [replace(change, before=None) for change in changes if change.after is not None]


def _is_emptied(changes: Collection[SlotChange], left: int) -> bool:
    """A memory that is empty all at once, and nobody saw how."""
    return left == 0 and len(changes) >= _EMPTIED and all(change.origin is None for change in changes)


def _by_serial(changes: Sequence[SlotChange]) -> list[_One]:
    serials = dict.fromkeys(serial for change in changes for serial in change.serials)
    found_ = []
    for serial in serials:
        mine = [change for change in changes if serial in change.serials]
        before = tuple(c.before for c in mine if c.before is not None and c.before.serial == serial)
        after = tuple(c.after for c in mine if c.after is not None and c.after.serial == serial)
        origins = {change.origin for change in mine}
        # The cautious reading where two hands were at work: what may have been taken at the board stays away.
        origin = next(iter(origins)) if len(origins) == 1 else (Origin.BOARD if Origin.BOARD in origins else None)
        found_.append(_One(serial, before, after, origin))
    return found_
