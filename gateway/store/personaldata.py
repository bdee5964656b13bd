"""Taking a person out of everything that lasts (`ports.PersonalData`).

Names are taken out where they stand; events of presses, answers kept for repetition and copies of old rosters go whole.
The audit's rows lose their personal part and keep their place in the chain. Everything in the database is one
transaction; `secure_delete` overwrites what is freed, and the write-ahead log is emptied at the end. Files set aside as
damaged hold what the database held, so they go.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Collection
from dataclasses import replace
from pathlib import Path
from typing import Any

from gateway.domain.events import EventName
from gateway.domain.forgetting import Forgotten, Redaction
from gateway.domain.transmitter import write_serial
from gateway.store.codec import canonical, parse
from gateway.store.database import Database
from gateway.store.documents import SqliteDocuments
from gateway.store.eventrows import forget_of_serial, oldest_number
from gateway.store.faults import from_os
from gateway.store.files import remove_set_aside
from gateway.store.journal import SqliteJournal
from gateway.store.keptrosters import KeptRosterFiles
from gateway.store.ledger import LedgerFile
from gateway.store.rosterfiles import RosterFiles
from gateway.store.snapshotfiles import SnapshotFiles
from gateway.store.worker import Worker

__all__ = ["StoredPersonalData"]

_NAMES = (
    "select json_extract(entry, '$.holder') from roster_rows where serial = ?",
    "select json_extract(held, '$.name') from memory_spans where serial = ?",
)
_SERIALS = (
    "select distinct serial, json_extract(entry, '$.holder') from roster_rows",
    "select distinct serial, json_extract(held, '$.name') from memory_spans",
)
#: Table, key and column of JSON texts that may have a name in them, and what they count as.
_TEXTS = (
    ("events", "number", "data", "events"),
    ("plan_bodies", "id", "body", "plans"),
    ("plans", "id", "progress", "plans"),
    ("memory_spans", "number", "held", "history"),
    ("roster_rows", "number", "entry", "history"),
)


class StoredPersonalData:
    """`ports.PersonalData`."""

    def __init__(
        self,
        folder: Path,
        database: Database,
        *,
        journal: SqliteJournal,
        documents: SqliteDocuments,
        ledger: LedgerFile,
        snapshots: SnapshotFiles,
        roster_files: RosterFiles,
        files: Worker,
    ) -> None:
        self._folder = folder
        self._database = database
        self._journal = journal
        self._documents = documents
        self._ledger = ledger
        self._snapshots = snapshots
        self._roster_files = roster_files
        self._files = files

    async def serials_of(self, name: str) -> frozenset[int]:
        """By rosters; by what memories called them only when no roster ever did, for memories shorten names."""

        folded = name.casefold()

        def look(db: sqlite3.Connection) -> frozenset[int]:
            found = ({row[0] for row in db.execute(each) if str(row[1]).casefold() == folded} for each in _SERIALS)
            return frozenset(next((serials for serials in found if serials), ()))

        return await self._database.read(look)

    async def names_of(self, serials: Collection[int]) -> frozenset[str]:
        def look(db: sqlite3.Connection) -> set[str]:
            found = [db.execute(each, (serial,)).fetchall() for serial in serials for each in _NAMES]
            return {str(name) for rows in found for (name,) in rows if name}

        names = await self._database.read(look)
        held = {slot.name for serial in serials for slot in self._ledger.old_slots(serial).values() if slot.name}
        return frozenset(names | held)

    async def forget(self, redaction: Redaction, *, accepted: str) -> Forgotten:
        ledger = await self._ledger.redact(redaction)
        snapshots = await self._snapshots.redact(redaction)
        files = await self._roster_files.forget(lambda content: holds(content, redaction), keep=accepted)
        files += await KeptRosterFiles(self._folder).forget(redaction, lambda content: holds(content, redaction))
        files += await self._files.run(self._remove_set_aside)
        done = await self._database.write(
            lambda db: (_forget_rows(db, redaction, self._documents), oldest_number(db)), self._take_over
        )
        await self._database.checkpoint()
        return replace(done[0], ledger=ledger, snapshots=snapshots, files=files)

    def _take_over(self, done: tuple[Forgotten, int]) -> None:
        """In the writing thread: what is kept in memory of the same rows."""
        self._documents.keep()
        self._journal.oldest_is(done[1])

    def _remove_set_aside(self) -> int:
        try:
            return remove_set_aside(self._folder)
        except OSError as fault:
            raise from_os(fault, self._folder) from fault


def holds(content: bytes, redaction: Redaction) -> bool:
    """Whether a roster file may have them in it. A workbook is compressed, so nobody can tell: it counts as one."""
    if content.startswith(b"PK"):
        return True
    digits = [str(serial).encode() for serial in redaction.serials]
    names = [name.encode(coding, "ignore") for name in redaction.names for coding in ("utf-8", "cp1252", "utf-16-le")]
    return any(sought and sought in content for sought in (*digits, *names))


def _forget_rows(db: sqlite3.Connection, redaction: Redaction, documents: SqliteDocuments) -> Forgotten:
    presses = sum(forget_of_serial(db, EventName.TRANSMITTER_HEARD, serial) for serial in redaction.serials)
    counts = dict.fromkeys(("events", "plans", "history"), 0)
    for table, key, column, what in _TEXTS:
        counts[what] += _redact_column(db, redaction, table, key, column)
    documents.write(db, _redacted(documents, redaction))
    audit = sum(
        db.execute("update audit set salt = null, personal = null where instr(personal, ?)", (sought,)).rowcount
        for sought in (*map(_escaped, redaction.names), *map(write_serial, redaction.serials))
    )
    for sought in (*map(_escaped, redaction.names), *redaction.names, *map(write_serial, redaction.serials)):
        db.execute("delete from replays where instr(body, cast(? as blob))", (sought,))
    return Forgotten(
        tuple(sorted(redaction.serials)), presses=presses, audit=audit, events=counts["events"],
        plans=counts["plans"], history=counts["history"],
    )  # fmt: skip


def _redact_column(db: sqlite3.Connection, redaction: Redaction, table: str, key: str, column: str) -> int:
    """How many rows had a name in them."""
    changed: dict[Any, str] = {}
    for name in redaction.names:
        found = db.execute(f"select {key}, {column} from {table} where instr({column}, ?)", (_escaped(name),))  # noqa: S608
        for row, text in found.fetchall():
            before = changed.get(row, text)
            if (after := _redact(before, redaction, _is_near(db, table, row, redaction))) != before:
                changed[row] = after
    db.executemany(
        f"update {table} set {column} = ? where {key} = ?",  # noqa: S608
        [(text, row) for row, text in changed.items()],
    )
    return len(changed)


def _is_near(db: sqlite3.Connection, table: str, row: Any, redaction: Redaction) -> bool:
    """A span's serial stands beside its text, not in it."""
    if table != "memory_spans":
        return False
    (serial,) = db.execute("select serial from memory_spans where number = ?", (row,)).fetchone()
    return serial in redaction.serials


def _redact(text: str, redaction: Redaction, near: bool) -> str:
    value = parse(text)
    if near:
        value = {**value, "name": redaction.text(value["name"], near=True)}
    return canonical(redaction(value))


def _redacted(documents: SqliteDocuments, redaction: Redaction) -> dict[str, Any]:
    """The documents that change, as plain JSON."""
    changed = {}
    for key, text in documents.texts().items():
        value = parse(text)
        if (after := redaction(value)) != value:
            changed[key] = after
    return changed


def _escaped(name: str) -> str:
    """As it stands in canonical JSON."""
    return json.dumps(name)[1:-1]
