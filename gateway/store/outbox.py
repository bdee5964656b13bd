"""Delivery state of the outlets: a cursor into the journal for each, and the numbers of events set aside.

There is no second copy of an event and no queue per outlet, so what an outlet that is dead for weeks costs on disk
is one row. How far back it can catch up is how long the journal keeps events.

A cursor that moved costs no write of its own where it can be helped: what was marked goes with the journal's next
commit, in the same transaction, or with `flush`. A power cut before that sends those events a second time, with
the same ids (at least once).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Mapping

from gateway.domain.events import EventName
from gateway.ports import OutboxRow, SetAside
from gateway.store.codec import CodecFault, canonical, decode, encode, from_micros, parse, to_micros
from gateway.store.database import Database

__all__ = ["KEPT_SET_ASIDE", "SqliteOutbox"]

#: Events set aside that are kept of one outlet; our choice: more than a person reads, some 100 kB.
KEPT_SET_ASIDE = 1000

Rows = Mapping[str, OutboxRow]


class SqliteOutbox:
    """`ports.Outbox`. `write` and `keep` are the journal's: they run in the writing thread.

    Rows are replaced, never changed, so that the writing thread sees one consistent state of all of them.
    """

    def __init__(self, database: Database) -> None:
        self._database = database
        self._rows: Rows = {}
        self._durable: Rows = {}
        self._taken: Rows = {}  # by the transaction under way
        self._flush_due: frozenset[str] = frozenset()

    def rows(self) -> Rows:
        return self._rows

    def mark(self, row: OutboxRow, *, lazy: bool = False) -> None:
        self._rows = {**self._rows, row.outlet: row}
        if not lazy:
            self._flush_due |= {row.outlet}

    async def flush(self) -> None:
        due, rows = self._flush_due, self._rows
        if any(self._durable.get(outlet) != rows.get(outlet) for outlet in due):
            await self._database.write(self.write, lambda _: self.keep())
        self._flush_due = frozenset(outlet for outlet in self._flush_due if self._rows.get(outlet) != rows.get(outlet))

    async def save(self, row: OutboxRow, aside: SetAside | None = None) -> None:
        def work(db: sqlite3.Connection) -> None:
            self.write(db)
            if aside is not None:
                _set_aside(db, aside)

        self._rows = {**self._rows, row.outlet: row}
        await self._database.write(work, lambda _: self.keep())

    async def set_asides(self, outlet: str, *, limit: int = 100) -> tuple[SetAside, ...]:
        try:
            return await self._database.read(lambda db: _read_aside(db, outlet, limit))
        except CodecFault as fault:
            raise self._database.found_damaged(str(fault)) from fault

    async def forget_others(self, outlets: Collection[str]) -> None:
        known = frozenset(outlets)
        gone = [outlet for outlet in self._rows if outlet not in known]
        if not gone:
            return

        def work(db: sqlite3.Connection) -> None:
            db.executemany("delete from outbox where outlet = ?", [(outlet,) for outlet in gone])
            db.executemany("delete from outbox_set_aside where outlet = ?", [(outlet,) for outlet in gone])

        self._rows = {outlet: row for outlet, row in self._rows.items() if outlet in known}
        await self._database.write(work, lambda _: self._forget(known))

    def fill(self, db: sqlite3.Connection) -> None:
        """Read all rows. Raises CodecFault."""
        self._rows = {outlet: decode(OutboxRow, parse(state)) for outlet, state in db.execute("select * from outbox")}
        self._durable = self._rows

    def write(self, db: sqlite3.Connection) -> None:
        """Inside a transaction: what was marked and is not durable yet."""
        self._taken = self._rows
        changed = [row for outlet, row in self._taken.items() if self._durable.get(outlet) != row]
        db.executemany(
            "insert or replace into outbox values (?, ?)", [(row.outlet, canonical(encode(row))) for row in changed]
        )

    def keep(self) -> None:
        """Take over what has just become durable."""
        self._durable = self._taken

    def _forget(self, known: frozenset[str]) -> None:
        self._durable = {outlet: row for outlet, row in self._durable.items() if outlet in known}


def _set_aside(db: sqlite3.Connection, aside: SetAside) -> None:
    db.execute(
        "insert into outbox_set_aside (outlet, number, name, receiver, problem, time_us) values (?, ?, ?, ?, ?, ?)",
        (aside.outlet, aside.number, aside.name.value, aside.receiver, aside.problem, to_micros(aside.time)),
    )
    db.execute(
        "delete from outbox_set_aside where outlet = ? and sequence <="
        " (select sequence from outbox_set_aside where outlet = ? order by sequence desc limit 1 offset ?)",
        (aside.outlet, aside.outlet, KEPT_SET_ASIDE),
    )


def _read_aside(db: sqlite3.Connection, outlet: str, limit: int) -> tuple[SetAside, ...]:
    rows = db.execute(
        "select outlet, number, name, receiver, problem, time_us from outbox_set_aside where outlet = ?"
        " order by sequence desc limit ?",
        (outlet, limit),
    )
    found = []
    for name, number, event, receiver, problem, time_us in rows:
        try:
            known = EventName(event)
        except ValueError as fault:
            raise CodecFault(f"set aside {number}: no event is called {event!r:.40}") from fault
        found.append(SetAside(name, number, known, receiver, problem, from_micros(time_us)))
    return tuple(found)
