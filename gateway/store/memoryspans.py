"""What each slot of each receiver held, and from when to when: written beside the mirror, in the same transaction.

The mirror is what was read and proven, so a span is too; where no line reaches there are no block CRCs, and the span
says that it was done by hand. A span begins when the gateway saw the new content: what was
changed at the board while nobody watched is dated when it was found. Flags and the maker's own bytes make no new span.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass

from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Slot
from gateway.store.codec import canonical, encode
from gateway.store.eventrows import Stamp
from gateway.store.moments import Moments

__all__ = ["HeldContent", "MemorySpans"]


@dataclass(frozen=True, slots=True)
class HeldContent:
    """What of a slot makes a span: its name, and the outputs by position (a text, as JSON has it)."""

    name: str
    outputs: Mapping[str, tuple[int, ...]]
    by_hand: bool = False


@dataclass(frozen=True, slots=True)
class _Open:
    """A span that still holds."""

    number: int
    serial: int
    held: str


_Slots = Mapping[int, _Open]


class MemorySpans:
    """Everything belongs to the writing thread."""

    def __init__(self, moments: Moments) -> None:
        self._moments = moments
        self._open: dict[str, _Slots] = {}
        self._next: dict[str, _Slots] = {}

    def fill(self, db: sqlite3.Connection) -> None:
        found: dict[str, dict[int, _Open]] = {name: {} for (name,) in db.execute("select receiver from memory_since")}
        for number, receiver, slot, serial, held in db.execute(
            "select number, receiver, slot, serial, held from memory_spans where last is null"
        ):
            found.setdefault(receiver, {})[slot] = _Open(number, serial, held)
        self._open = dict(found)

    def write(self, db: sqlite3.Connection, mirror: Mirror, stamp: Stamp) -> None:
        """Close what is no longer so, begin what is new; nothing at all when nothing differs."""
        known = self._open.get(mirror.receiver)
        before = known or {}
        by_hand = not mirror.block_crcs
        now = {number: (slot.serial, _held(slot, by_hand=by_hand)) for number, slot in mirror.slots.items()}
        gone = [n for n, span in before.items() if now.get(n) != (span.serial, span.held)]
        new = [n for n in sorted(now) if n not in before or n in set(gone)]
        if known is not None and not gone and not new:
            return
        moment = self._moments.add(db, stamp)
        if known is None:
            db.execute("insert or replace into memory_since values (?, ?)", (mirror.receiver, moment))
        db.executemany("update memory_spans set last = ? where number = ?", [(moment, before[n].number) for n in gone])
        spans = {number: span for number, span in before.items() if number not in set(gone)}
        for number in new:
            serial, held = now[number]
            (row,) = db.execute(
                "insert into memory_spans (receiver, slot, serial, held, first) values (?, ?, ?, ?, ?)"
                " returning number",
                (mirror.receiver, number, serial, held, moment),
            ).fetchone()
            spans[number] = _Open(row, serial, held)
        self._next[mirror.receiver] = spans

    def begin(self, db: sqlite3.Connection, mirrors: Mapping[str, Mirror], stamp: Stamp) -> None:
        """At start: a mirror that is older than this record begins it now."""
        for receiver, mirror in mirrors.items():
            if receiver not in self._open:
                self.write(db, mirror, stamp)

    def drop(self) -> None:
        """At the beginning of every transaction: what an earlier one that failed had in mind is void."""
        self._next = {}

    def keep(self) -> None:
        """Take over what has just become durable."""
        self._open |= self._next
        self._next = {}


def _held(slot: Slot, *, by_hand: bool) -> str:
    outputs = {str(place): tuple(sorted(group)) for place, group in enumerate(slot.outputs, 1) if group}
    return canonical(encode(HeldContent(slot.name, outputs, by_hand)))
