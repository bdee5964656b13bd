"""Mirrors by receiver: read from memory, kept in the database.

`write_mirror` and `write_cursors` run inside the journal's transaction; `keep` follows it. Only rows that differ
are written: one changed slot costs one row, an unchanged mirror none.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from dataclasses import replace

from gateway.domain.mirror import Mirror
from gateway.domain.receiver import RingPlace, Slot
from gateway.store.codec import canonical, decode, encode, parse

__all__ = ["SqliteMirrors"]


class SqliteMirrors:
    """`ports.Mirrors`. Everything but `load` belongs to the writing thread."""

    def __init__(self) -> None:
        self._mirrors: dict[str, Mirror] = {}
        self._cursors: dict[str, RingPlace] = {}

    def load(self, receiver: str) -> Mirror | None:
        """The mirror with its ring cursor; None when this receiver was never read."""
        return self._mirrors.get(receiver)

    def all(self) -> Mapping[str, Mirror]:
        """Every mirror by receiver."""
        return self._mirrors

    def fill(self, db: sqlite3.Connection) -> None:
        """Read everything. Raises CodecFault when a row is not what was written."""
        self._cursors = {
            receiver: RingPlace(boot_count, number)
            for receiver, boot_count, number in db.execute("select receiver, boot_count, number from cursors")
        }
        for receiver, head in db.execute("select receiver, head from mirrors"):
            slots = _read_slots(db, receiver)
            mirror = replace(decode(Mirror, {**parse(head), "receiver": receiver}), slots=slots)
            self._mirrors[receiver] = replace(mirror, cursor=self._cursors.get(receiver))

    def write_mirror(self, db: sqlite3.Connection, mirror: Mirror) -> None:
        """Bring the rows from what was written last to this."""
        before = self._mirrors.get(mirror.receiver)
        head = _head(mirror)
        if before is None or _head(before) != head:
            db.execute(
                "insert into mirrors values (?, ?) on conflict (receiver) do update set head = excluded.head",
                (mirror.receiver, head),
            )
        known = before.slots if before else {}
        db.executemany(
            "insert or replace into mirror_slots values (?, ?, ?)",
            [
                (mirror.receiver, number, canonical(encode(slot)))
                for number, slot in mirror.slots.items()
                if known.get(number) != slot
            ],
        )
        db.executemany(
            "delete from mirror_slots where receiver = ? and number = ?",
            [(mirror.receiver, number) for number in known.keys() - mirror.slots.keys()],
        )

    def write_cursors(self, db: sqlite3.Connection, cursors: Mapping[str, RingPlace]) -> None:
        """Move the ring cursors that differ."""
        db.executemany(
            "insert or replace into cursors values (?, ?, ?)",
            [
                (receiver, place.boot_count, place.number)
                for receiver, place in cursors.items()
                if self._cursors.get(receiver) != place
            ],
        )

    def keep(self, mirror: Mirror | None, cursors: Mapping[str, RingPlace]) -> None:
        """Take over what has just become durable."""
        self._cursors.update(cursors)
        touched = [self._mirrors[name] for name in cursors if name in self._mirrors]
        if mirror is not None:
            touched.append(replace(mirror, slots=dict(mirror.slots)))
        for entry in touched:
            self._mirrors[entry.receiver] = replace(entry, cursor=self._cursors.get(entry.receiver))


def _read_slots(db: sqlite3.Connection, receiver: str) -> dict[int, Slot]:
    rows = db.execute("select number, slot from mirror_slots where receiver = ? order by number", (receiver,))
    return {number: decode(Slot, parse(slot)) for number, slot in rows}


def _head(mirror: Mirror) -> str:
    return canonical(encode(replace(mirror, receiver="", slots={}, cursor=None)))
