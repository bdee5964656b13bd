"""Which life of the journal this is.

The database and the ledger hold the same random mark, renewed at every start and orderly end: first in the
database, together with the mark before it, then in the ledger. A database whose marks are not the ledger's
newest has been put back from a copy (or its ledger has), events that were told of may be missing from it, and
their numbers would be given twice. It therefore starts a new epoch, as a new database does.

A copy made since the last start and put back after a power failure can't be told from the database itself.
"""

from __future__ import annotations

import secrets
import sqlite3
from dataclasses import dataclass

from gateway.errors import StoreUnavailable
from gateway.store.database import Database
from gateway.store.ledger import LedgerFile, Opened

__all__ = ["Life", "begin_life", "renew_mark"]


@dataclass(frozen=True, slots=True)
class Life:
    """`restarted` says why this is a new epoch (`missing`, `restored`), empty for the same or the very first."""

    epoch: str
    restarted: str = ""


async def begin_life(database: Database, ledger: LedgerFile) -> Life:
    """Decide the epoch and write the marks.

    On a full disk the old marks do for a known epoch. Raises StoreUnavailable for a new one, StoreDamaged.
    """
    newest = ledger.opened
    kept = await database.read(_read_marks)
    life = _judge(kept, newest)
    try:
        await renew_mark(database, ledger, life.epoch)
    except StoreUnavailable:
        if life.epoch != kept.get("epoch"):
            raise
    return life


async def renew_mark(database: Database, ledger: LedgerFile, epoch: str) -> None:
    """Write a new mark into both, the database first."""
    mark, before = secrets.token_hex(8), ledger.opened.mark if ledger.opened else ""

    def write(db: sqlite3.Connection) -> None:
        rows = {"epoch": epoch, "mark": mark, "mark_before": before}
        db.executemany("insert or replace into meta values (?, ?)", rows.items())

    await database.write(write)
    await ledger.note_opened(Opened(epoch, mark))


def _read_marks(db: sqlite3.Connection) -> dict[str, str]:
    return dict(db.execute("select key, value from meta where key in ('epoch', 'mark', 'mark_before')"))


def _judge(kept: dict[str, str], newest: Opened | None) -> Life:
    new_epoch = secrets.token_hex(4)
    if "epoch" not in kept:
        return Life(new_epoch, "missing" if newest else "")
    if (newest.mark if newest else "") in (kept["mark"], kept["mark_before"]):
        return Life(kept["epoch"])
    return Life(new_epoch, "restored")
