"""Accepted rosters, written down row by row: a row costs a line in the database only when it changes.

The bytes of the newest few rosters are kept elsewhere (`rosterfiles`), to put the last one in force again; this is for
the question who was to have access to what. A row's number in its file and its note are not part of it.
"""

from __future__ import annotations

import asyncio
import sqlite3
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, datetime

from gateway.clock import Clock
from gateway.domain.history import RosterLine
from gateway.domain.roster import Entry, Roster
from gateway.domain.transmitter import BUILT_IN_KINDS
from gateway.ports import RosterAcceptance, Trust
from gateway.store.codec import canonical, decode, encode, parse
from gateway.store.database import Database
from gateway.store.eventrows import Stamp
from gateway.store.moments import Moments

__all__ = ["SqliteRosterBook", "read_line", "roster_line"]


class SqliteRosterBook:
    """`ports.RosterBook`. It shares its `moments` with the journal and stays in the writing thread with them."""

    def __init__(self, database: Database, *, clock: Clock, trust: Trust, boot_id: str, moments: Moments) -> None:
        self._database = database
        self._clock = clock
        self._trust = trust
        self._boot_id = boot_id
        self._moments = moments

    async def note(self, roster: Roster, acceptance: RosterAcceptance, *, now: bool) -> None:
        """Also the same roster signed anew, as another revision of it, without a row changed."""
        stamp = Stamp(self._clock.now(), self._trust.trusted, self._boot_id, self._clock.monotonic())
        lines = await asyncio.to_thread(_lines, roster)  # thousands of rows would make a line late
        holders = len({entry.holder for entry in roster.entries})

        def work(db: sqlite3.Connection) -> None:
            self._moments.settle(db, stamp)
            noted = _Noted(roster.digest, acceptance.revision, lines, holders)
            if now:
                _write(db, lambda: self._moments.add(db, stamp), noted)
            else:
                _write(
                    db, lambda: self._moments.add_earlier(db, stamp, acceptance.time, acceptance.clock_trusted), noted
                )

        await self._database.write(work, lambda _: self._moments.keep())


def _lines(roster: Roster) -> dict[int, str]:
    return {entry.serial: canonical(encode(roster_line(entry, roster))) for entry in roster.entries}


def roster_line(entry: Entry, roster: Roster) -> RosterLine:
    """What is kept of a row."""
    kind = roster.kinds.get(entry.kind) or BUILT_IN_KINDS["any"]
    return RosterLine(
        serial=entry.serial,
        holder=entry.holder,
        kind=entry.kind,
        positions=kind.positions,
        group=entry.group,
        rights=tuple(sorted(entry.rights)),
        sites=entry.sites,
        valid_from=_iso(entry.valid_from),
        valid_until=_iso(entry.valid_until),
    )


def read_line(text: str) -> RosterLine:
    """Raises CodecFault."""
    return decode(RosterLine, parse(text))


def _iso(value: date | datetime | None) -> str:
    return "" if value is None else value.isoformat()


@dataclass(frozen=True, slots=True)
class _Noted:
    """A roster as it is to be written; `lines` by serial."""

    digest: str
    revision: int | None
    lines: Mapping[int, str]
    holders: int


def _write(db: sqlite3.Connection, moment: Callable[[], int], roster: _Noted) -> None:
    lines = roster.lines
    newest = db.execute("select digest, revision from roster_revisions order by number desc limit 1").fetchone()
    if newest == (roster.digest, roster.revision):
        return
    known = {s: (number, text) for number, s, text in
             db.execute("select number, serial, entry from roster_rows where last is null")}  # fmt: skip
    gone = [serial for serial in known if serial not in lines]
    changed = [serial for serial, text in lines.items() if serial in known and known[serial][1] != text]
    added = [serial for serial in lines if serial not in known]
    (number,) = db.execute(
        "insert into roster_revisions (digest, revision, moment, transmitters, holders, added, changed, removed)"
        " values (?, ?, ?, ?, ?, ?, ?, ?) returning number",
        (roster.digest, roster.revision, moment(), len(lines), roster.holders, len(added), len(changed), len(gone)),
    ).fetchone()
    db.executemany(
        "update roster_rows set last = ? where number = ?", [(number, known[serial][0]) for serial in (*gone, *changed)]
    )
    db.executemany(
        "insert into roster_rows (serial, entry, first) values (?, ?, ?)",
        [(serial, lines[serial], number) for serial in (*changed, *added)],
    )
