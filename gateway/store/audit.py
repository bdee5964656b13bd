"""The audit: who asked for what, in a chain that shows tampering.

Row n holds `hash = sha256(hash[n-1] || canonical JSON of what is public in the row and sha256(salt || personal))`,
row 1 with 32 zero bytes before it. Number and hash of the newest row stand in the same transaction, so that rows
taken from the end are missed too. Erasing the personal part with its salt leaves the chain whole. Rows that are old
enough go from the beginning, and number and hash of the last one that went stay, for the chain goes on from there.
Whoever may write the whole file can write a new chain; the head is therefore printed and sent elsewhere.
"""

from __future__ import annotations

import contextlib
import hashlib
import secrets
import sqlite3
from collections.abc import Mapping
from datetime import datetime
from typing import Any

from gateway.clock import Clock
from gateway.errors import NotFound
from gateway.ports import AuditCheck, AuditRow, Seal
from gateway.store.codec import CodecFault, canonical, from_micros, parse, to_micros
from gateway.store.database import Database

__all__ = ["SqliteAudit"]

_GENESIS = bytes(32)
_SALT_BYTES = 16
_SELECT = (
    "select number, time_us, boot_id, monotonic_s, who, what, outcome, salt, personal, personal_hash, hash from audit"
)
_LAST = 2**62


class SqliteAudit:
    """`ports.Audit`, and erasing what is personal."""

    def __init__(self, database: Database, *, clock: Clock, boot_id: str) -> None:
        self._database = database
        self._clock = clock
        self._boot_id = boot_id
        self._seal: Seal | None = None

    async def load(self) -> None:
        """Read the newest row's number and hash into memory."""
        with contextlib.suppress(ValueError):  # a damaged mark is `verify`'s to tell
            self._seal = _sealed(await self._database.read(_head))

    @property
    def seal(self) -> Seal | None:
        return self._seal

    async def record(
        self, who: str, what: str, detail: Mapping[str, Any] | None = None, *, outcome: str = "done"
    ) -> AuditRow:
        """Durable when it returns. Raises StoreUnavailable: what can't be written down must not be done."""
        public = (to_micros(self._clock.now()), self._boot_id, float(self._clock.monotonic()), who, what, outcome)
        personal = canonical(dict(detail or {}))
        return await self._database.write(lambda db: _add(db, public, personal), self._keep)

    def _keep(self, row: AuditRow) -> None:
        self._seal = Seal(row.number, row.hash)

    async def read(self, *, limit: int = 100, before: int = 0) -> tuple[AuditRow, ...]:
        edge = before if before > 0 else _LAST
        rows = await self._database.read(
            lambda db: db.execute(
                f"{_SELECT} where number < ? order by number desc limit ?", (min(edge, _LAST), max(0, limit))
            ).fetchall()
        )
        try:
            return tuple(_shown(row) for row in rows)
        except CodecFault as fault:
            raise self._database.found_damaged(f"the audit: {fault}") from fault

    async def verify(self) -> AuditCheck:
        """Recompute every row; the first that does not fit is named."""
        return await self._database.read(_verify)

    async def forget(self, before: datetime) -> int:
        """Delete the rows at the beginning that are older; how many. The newest row always stays.

        Call it only while the clock is trusted.
        """
        edge_us = to_micros(before)
        return await self._database.write(lambda db: _forget(db, edge_us))

    async def erase(self, number: int) -> None:
        """Forget the personal part of a row; that it happened stays. Raises NotFound."""
        erased = await self._database.write(
            lambda db: db.execute("update audit set salt = null, personal = null where number = ?", (number,)).rowcount
        )
        if not erased:
            raise NotFound(f"The audit has no row {number}.", remedy="List the audit to see the numbers.")


def _add(db: sqlite3.Connection, public: tuple[Any, ...], personal: str) -> AuditRow:
    number, before = _head(db)
    salt = secrets.token_bytes(_SALT_BYTES)
    personal_hash = _personal_hash(salt, personal)
    row_hash = _row_hash(before, (number + 1, *public), personal_hash)
    row = (number + 1, *public, salt, personal, personal_hash, row_hash)
    db.execute("insert into audit values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", row)
    db.execute("insert or replace into meta values ('audit_head', ?)", (f"{number + 1} {row_hash.hex()}",))
    return _shown(row)


def _head(db: sqlite3.Connection) -> tuple[int, bytes]:
    return _mark(db, "audit_head")


def _sealed(head: tuple[int, bytes]) -> Seal | None:
    return Seal(head[0], head[1].hex()) if head[0] else None


def _mark(db: sqlite3.Connection, key: str) -> tuple[int, bytes]:
    """Number and hash of a row; before the first row where there is none."""
    found = db.execute("select value from meta where key = ?", (key,)).fetchone()
    if found is None:
        return 0, _GENESIS
    number, _, digest = found[0].partition(" ")
    return int(number), bytes.fromhex(digest)


def _forget(db: sqlite3.Connection, edge_us: int) -> int:
    """Up to the first row that is young enough: a clock that once ran ahead must not tear a hole."""
    young = db.execute(
        "select coalesce((select min(number) from audit where time_us >= ?), (select max(number) from audit))",
        (edge_us,),
    ).fetchone()[0]
    last = db.execute(
        "select number, hash from audit where number < ? order by number desc limit 1", (young,)
    ).fetchone()
    if last is None:
        return 0
    db.execute("insert or replace into meta values ('audit_floor', ?)", (f"{last[0]} {last[1].hex()}",))
    return db.execute("delete from audit where number <= ?", (last[0],)).rowcount


def _verify(db: sqlite3.Connection) -> AuditCheck:
    head_number, head = _head(db)
    floor, before = _mark(db, "audit_floor")
    expected = floor
    for row in db.execute(f"{_SELECT} order by number"):
        expected += 1
        if problem := _problem(row, expected, before):
            return AuditCheck(expected - 1 - floor, before.hex(), min(expected, row[0]), problem)
        before = row[10]
    if (expected, before) != (head_number, head):
        at = min(expected, head_number) + 1
        return AuditCheck(expected - floor, before.hex(), at, "rows at the end don't fit the head")
    return AuditCheck(expected - floor, before.hex())


def _problem(row: tuple[Any, ...], expected: int, before: bytes) -> str:
    number, salt, personal, personal_hash, row_hash = row[0], *row[7:11]
    if number != expected:
        return f"row {expected} is missing"
    if (salt is None) != (personal is None):
        return f"row {number} is half erased"
    if personal is not None and _personal_hash(salt, personal) != personal_hash:
        return f"the personal part of row {number} was altered"
    if _row_hash(before, row[:7], personal_hash) != row_hash:
        return f"row {number} was altered"
    return ""


def _personal_hash(salt: bytes, personal: str) -> bytes:
    return hashlib.sha256(salt + personal.encode()).digest()


def _row_hash(before: bytes, public: tuple[Any, ...], personal_hash: bytes) -> bytes:
    number, when, boot, monotonic, who, what, outcome = public
    fields = {
        "number": number,
        "when": when,
        "boot": boot,
        "monotonic": monotonic,
        "who": who,
        "what": what,
        "outcome": outcome,
        "personal": personal_hash.hex(),
    }
    return hashlib.sha256(before + canonical(fields).encode("ascii")).digest()


def _shown(row: tuple[Any, ...]) -> AuditRow:
    number, time_us, _, _, who, what, outcome, _, personal, _, row_hash = row
    detail = None if personal is None else parse(personal)
    return AuditRow(number, from_micros(time_us), who, what, outcome, detail, row_hash.hex())
