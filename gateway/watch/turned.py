"""Inputs whose high level is the normal one: turned round at the first touch, so that everything above means the same.

Pure. Which they are stands in the settings; a safety input of a gate that may be operated is never among them.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace

from gateway.domain.receiver import BoardEvent, RingEntry, RingRead, Status

__all__ = ["turn_read", "turn_status"]


def turn_status(status: Status, turned: Collection[int]) -> Status:
    """The status with these inputs (numbers from 1) turned round."""
    if not turned:
        return status
    levels = tuple(level != (number in turned) for number, level in enumerate(status.input_violated, 1))
    return replace(status, input_violated=levels)


def turn_read(read: RingRead, turned: Collection[int]) -> RingRead:
    """The ring's news with these inputs turned round."""
    if not turned:
        return read
    return replace(read, entries=tuple(_turn_entry(entry, turned) for entry in read.entries))


def _turn_entry(entry: RingEntry, turned: Collection[int]) -> RingEntry:
    if entry.kind is not BoardEvent.INPUT or entry.number not in turned:
        return entry
    return replace(entry, value=0 if entry.value else 1)
