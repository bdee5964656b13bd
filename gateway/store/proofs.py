"""Which revocations are proven where, and when each timetable last ran.

A proof belongs to one revocation, not to a serial: lifted and revoked again, a serial is to be proven anew even
if the power failed before anybody could say so. Each revocation therefore has an id in the ledger, and a proof
counts only while its id is that of the revocation in force.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Collection, Mapping
from datetime import datetime

from gateway.store.codec import from_micros, to_micros

__all__ = ["SqliteProofs", "SqliteRuns"]

Pair = tuple[int, str]


class SqliteProofs:
    """`ports.Proofs`. `revocation_id` tells the id of the revocation in force of a serial, None without one."""

    def __init__(self, revocation_id: Callable[[int], str | None]) -> None:
        self._revocation_id = revocation_id
        self._proofs: dict[Pair, str] = {}
        self._next: dict[Pair, str] = {}  # as it will be once the transaction under way is durable

    def proven(self, serial: int) -> frozenset[str]:
        """The receivers proven to lack this serial; none when it isn't revoked."""
        now = self._revocation_id(serial)
        return frozenset(
            receiver for (known, receiver), revocation in self._proofs.items() if known == serial and revocation == now
        )

    def fill(self, db: sqlite3.Connection) -> None:
        rows = db.execute("select serial, receiver, revocation from proofs")
        self._proofs = {(serial, receiver): revocation for serial, receiver, revocation in rows}

    def write(self, db: sqlite3.Connection, proven: Collection[Pair], unproven: Collection[int]) -> None:
        """Inside the journal's transaction; what is no longer revoked can't be proven and is passed over."""
        self._next = {pair: known for pair, known in self._proofs.items() if pair[0] not in unproven}
        self._next |= {
            (serial, receiver): revocation
            for serial, receiver in proven
            if (revocation := self._revocation_id(serial)) is not None
        }
        db.executemany("delete from proofs where serial = ?", [(serial,) for serial in unproven])
        db.executemany(
            "insert or replace into proofs values (?, ?, ?)",
            [(*pair, self._next[pair]) for pair in dict.fromkeys(proven) if pair in self._next],
        )

    def keep(self) -> None:
        """Take over what has just become durable."""
        self._proofs = self._next


class SqliteRuns:
    """`ports.Runs`."""

    def __init__(self) -> None:
        self._runs: dict[str, datetime] = {}

    def last(self, name: str) -> datetime | None:
        return self._runs.get(name)

    def fill(self, db: sqlite3.Connection) -> None:
        self._runs = {name: from_micros(due) for name, due in db.execute("select name, due_us from runs")}

    def write(self, db: sqlite3.Connection, runs: Mapping[str, datetime]) -> None:
        db.executemany(
            "insert or replace into runs values (?, ?)", [(name, to_micros(due)) for name, due in runs.items()]
        )

    def keep(self, runs: Mapping[str, datetime]) -> None:
        self._runs = {**self._runs, **runs}
