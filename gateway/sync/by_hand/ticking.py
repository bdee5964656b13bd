"""What a tick, and taking it back, mean for the mirror of a receiver that nothing reads.

Pure. Everything goes by the transmitter, never by a slot's number, so lines may be ticked in any order. A new
transmitter takes the lowest free slot, as it does at a board.
"""

from __future__ import annotations

from dataclasses import replace

from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Slot
from gateway.domain.visit_sheet import Gesture, SheetLine
from gateway.errors import Refused
from gateway.sync.by_hand.lines import Pairs, pairs_of

__all__ = ["ticked", "unticked"]


def ticked(mirror: Mirror, line: SheetLine) -> tuple[Mirror, tuple[Slot, ...]]:
    """The mirror with this line done, and the slots that went. The same mirror when it holds that already.

    Raises Refused with `memory-full` when a new transmitter finds no free slot.
    """
    held = pairs_of(mirror, line.serial)
    if line.gesture is Gesture.REMOVE:
        taken = tuple(slot for slot in mirror.slots.values() if slot.serial == line.serial)
        return _with(mirror, line, frozenset()), taken
    pair = (line.position, line.output)
    return _with(mirror, line, held | {pair} if line.gesture is Gesture.LEARN else held - {pair}), ()


def unticked(mirror: Mirror, line: SheetLine) -> Mirror:
    """The mirror as if this line had not been done; what other lines did to the same transmitter stays."""
    held = pairs_of(mirror, line.serial)
    if line.gesture is Gesture.REMOVE:
        back = frozenset(pair for slot in line.taken for pair in slot.pairs)
        return _with(mirror, line, held | back)
    pair = (line.position, line.output)
    return _with(mirror, line, held - {pair} if line.gesture is Gesture.LEARN else held | {pair})


def _with(mirror: Mirror, line: SheetLine, pairs: Pairs) -> Mirror:
    """The mirror in which this transmitter works exactly these pairs, in one slot."""
    if pairs == pairs_of(mirror, line.serial):
        return mirror
    slots = {number: slot for number, slot in mirror.slots.items() if slot.serial != line.serial}
    if pairs:
        kept = min((slot for slot in mirror.slots.values() if slot.serial == line.serial), key=_number, default=None)
        known = kept or (line.taken[0] if line.taken else Slot(0, line.serial, 0, (), line.holder))
        number = kept.number if kept else _free_number(mirror, known.number)
        groups = tuple(
            frozenset(output for place, output in pairs if place == position)
            for position in range(1, mirror.limits.positions + 1)
        )
        slots[number] = replace(known, number=number, outputs=groups)
    return replace(mirror, slots=dict(sorted(slots.items())), revision=mirror.revision + 1)


def _free_number(mirror: Mirror, wished: int) -> int:
    if 0 < wished <= mirror.limits.slots and wished not in mirror.slots:
        return wished
    free = next((number for number in range(1, mirror.limits.slots + 1) if number not in mirror.slots), None)
    if free is None:
        raise Refused(
            f"By what was ticked all {mirror.limits.slots} slots of {mirror.receiver} are taken.",
            remedy="Tick the transmitters that were taken out first; or say anew what it holds.",
            code="memory-full",
        )
    return free


def _number(slot: Slot) -> int:
    return slot.number
