"""When two slots are the same.

Pure. A driver may give a slot back with the memory's own padding: maker bytes ended by zeros, positions that
work nothing at the end. Those differences are none.
"""

from __future__ import annotations

from collections.abc import Mapping

from gateway.domain.receiver import Slot

__all__ = ["same_memory", "same_slot"]


def same_slot(left: Slot | None, right: Slot | None) -> bool:
    """True when the memory would hold the same for both. None is a free slot."""
    if left is None or right is None:
        return left is right
    return _essence(left) == _essence(right)


def same_memory(left: Mapping[int, Slot], right: Mapping[int, Slot]) -> bool:
    """True when both memories hold the same."""
    return left.keys() == right.keys() and all(same_slot(left[number], right[number]) for number in left)


def _essence(slot: Slot) -> tuple[object, ...]:
    return (slot.number, slot.serial, slot.kind, slot.pairs, slot.name, slot.flags, slot.opaque.rstrip(b"\0"))
