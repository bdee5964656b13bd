"""What the receiver holds that neither the roster nor Gatepost put there.

A slot change is ours when the ring says that it came over the line, for the line has one master; or, when the ring
can't say, when the slot now is what a recent plan meant it to be: an interrupted write of ours is never drift (rule 2).
What was done at the board is drift whatever it is. Telling drift apart further is another matter; this finds it.
"""

from __future__ import annotations

from collections.abc import Sequence

from gateway.domain.events import EventDraft, EventName
from gateway.domain.plan import ChangeKind
from gateway.domain.receiver import Origin, Slot
from gateway.domain.transmitter import write_serial
from gateway.ports import Plans
from gateway.watch.slot_changes import SlotChange, slot_data

__all__ = ["Drift", "drift_words"]

#: How many of a receiver's newest plans are looked through; our choice: a revocation, its retry and the roster's.
_RECENT_PLANS = 5

_VERBS = {
    ChangeKind.ADDED: "was added",
    ChangeKind.CHANGED: "was changed",
    ChangeKind.REMOVED: "was taken out",
}


class Drift:
    """Finds drift among the changes that a mirror's refresh found."""

    def __init__(self, plans: Plans) -> None:
        self._plans = plans

    async def event(self, receiver: str, changes: Sequence[SlotChange], revision: int) -> EventDraft | None:
        """`drift.found`, None when all changes are our own."""
        if all(change.origin is Origin.LINE for change in changes):
            return None
        targets = await self._targets(receiver)
        foreign = [change for change in changes if not _is_ours(change, targets)]
        if not foreign:
            return None
        data = {
            "slots": [slot_data(change) for change in foreign],
            "words": [drift_words(change) for change in foreign],
            "revision": revision,
        }
        return EventDraft(EventName.DRIFT_FOUND, receiver, data)

    async def _targets(self, receiver: str) -> set[tuple[int, Slot | None]]:
        recent = await self._plans.newest(receiver=receiver, limit=_RECENT_PLANS)
        unfinished = [plan for plan in await self._plans.unfinished() if plan.receiver == receiver]
        return {(change.slot, change.after) for plan in (*recent, *unfinished) for change in plan.changes}


def drift_words(change: SlotChange) -> str:
    """One sentence for people."""
    who = " and ".join(write_serial(serial) for serial in change.serials)
    if change.by_reset:
        return f"Slot {change.number}: transmitter {who} was taken out by a reset of the receiver."
    where = " at the board" if change.origin is Origin.BOARD else ""
    return f"Slot {change.number}: transmitter {who} {_VERBS[change.kind]}{where}."


def _is_ours(change: SlotChange, targets: set[tuple[int, Slot | None]]) -> bool:
    if change.origin is None:
        return (change.number, change.after) in targets
    return change.origin is Origin.LINE
