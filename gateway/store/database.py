"""SQLite, kept so that what was acknowledged is never lost.

Write-ahead log and `synchronous=FULL` (each commit is synced), one writer in one thread, one function per
transaction. Readers have a second connection and thread of their own and are never held up by a commit.
A connection whose write failed is closed and opened anew, never tried again: after a failed sync nobody
knows what is on the disk (https://www.sqlite.org/atomiccommit.html, section 9; "fsyncgate").

Tests let single syncs and writes fail, and all from one on: a commit that was told as failed is never found beside
its second try.

Knows nothing of what is in the tables.
"""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

from gateway.errors import StoreDamaged, StoreError, StoreUnavailable
from gateway.store.faults import FAULTS, damaged, from_sqlite
from gateway.store.ladder import climb
from gateway.store.worker import Worker

__all__ = ["Database", "connect", "damage_mark"]

T = TypeVar("T")
Work = Callable[[sqlite3.Connection], T]

#: Bytes a page. Measured on Debian 12 for one event a commit: 10.0 kB written at 1024, 21.9 kB at 4096.
_PAGE_BYTES = 1024
_PRAGMAS = (
    f"page_size = {_PAGE_BYTES}",  # only a new file takes it
    "journal_mode = wal",
    "synchronous = full",
    "secure_delete = on",
    "temp_store = memory",
    "cell_size_check = on",
    "journal_size_limit = 4194304",
    "cache_size = -512",  # KiB a connection; the system has the file in its own cache too
)


def connect(path: Path, *, query_only: bool = False) -> sqlite3.Connection:
    """A connection with all our pragmas set. The file must exist (`Database` creates it with mode 0600)."""
    db = sqlite3.connect(f"{path.absolute().as_uri()}?mode=rw", uri=True, isolation_level=None, timeout=5.0)
    try:
        for pragma in _PRAGMAS:
            db.execute(f"pragma {pragma}")
        if query_only:
            db.execute("pragma query_only = on")
    except BaseException:
        db.close()
        raise
    return db


def damage_mark(path: Path) -> Path:
    """The file that says: damage was met while running, set this database aside at the next start."""
    return path.with_name(path.name + ".is-damaged")


class Database:
    """One database file. `open` before anything else, `close` at the end."""

    def __init__(self, path: Path, steps: Sequence[str]) -> None:
        self.path = path
        self._steps = steps
        self._writing = Worker("store-write")
        self._reading = Worker("store-read")
        self._writer: sqlite3.Connection | None = None
        self._reader: sqlite3.Connection | None = None
        #: Why the last write failed, for people; empty while writing works.
        self.problem = ""

    async def open(self) -> None:
        """Create or open, check, climb the ladder. Raises StoreDamaged, StoreTooNew, StoreUnavailable."""
        await self._writing.run(self._open)
        await self._reading.run(lambda: self._read(lambda db: None))

    async def write(self, work: Work[T], then: Callable[[T], None] | None = None) -> T:
        """Run `work` in one transaction; durable when it returns.

        `then` is called in the writing thread right after the commit, in the order of commits, even when the
        caller has been cancelled meanwhile. Raises StoreUnavailable (nothing was kept) and StoreDamaged.
        """
        return await self._writing.run(lambda: self._write(work, then))

    async def read(self, work: Work[T]) -> T:
        """Run `work` on one consistent state. Raises StoreUnavailable and StoreDamaged."""
        return await self._reading.run(lambda: self._read(work))

    def found_damaged(self, detail: str) -> StoreDamaged:
        """The error for a row that is not what was written; the next start sets the file aside."""
        fault = damaged(self.path, detail)
        self._mark_damage(fault)
        return fault

    async def checkpoint(self) -> None:
        """Bring everything from the write-ahead log into the file and empty the log.

        The pragma's row is fetched here: an open statement would keep the next transaction from its commit.
        """
        await self._writing.run(
            lambda: self._guard(lambda: self._write_connection().execute("pragma wal_checkpoint(truncate)").fetchall())
        )

    async def alive(self) -> None:
        """Return when both threads have done something; a hung disk keeps them from it."""
        await self._writing.run(lambda: None)
        await self._reading.run(lambda: None)

    async def close(self) -> None:
        """Close both connections; the write-ahead log goes into the file. May be called twice."""
        await self._reading.close(self._drop_reader)
        await self._writing.close(self._drop_writer)

    def _open(self) -> None:
        fresh = not self.path.exists()
        try:
            os.close(os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600))
        except OSError as fault:
            raise StoreUnavailable(
                f"The database {self.path} can't be opened ({fault.strerror}).",
                remedy="Give the state folder to the gateway's user, and see that the disk can be written.",
            ) from fault
        self._guard(lambda: self._check(fresh))

    def _check(self, fresh: bool) -> None:
        db = self._write_connection()
        if not fresh:
            self._check_pages(db)
        climb(db, self._steps, self.path)
        if _schema(db) != self._wanted_schema():
            raise damaged(self.path, "its tables are not those of its version")

    def _check_pages(self, db: sqlite3.Connection) -> None:
        try:
            faults = [row[0] for row in db.execute("pragma quick_check(1)")]
        except sqlite3.Error as fault:
            raise from_sqlite(fault, self.path) or damaged(self.path, str(fault)) from fault
        if faults != ["ok"]:
            raise damaged(self.path, faults[0])

    def _wanted_schema(self) -> list[tuple[str, ...]]:
        with contextlib.closing(sqlite3.connect(":memory:", isolation_level=None)) as fresh:
            climb(fresh, self._steps, self.path)
            return _schema(fresh)

    def _write(self, work: Work[T], then: Callable[[T], None] | None) -> T:
        result = self._guard(lambda: self._transact(self._write_connection(), "begin immediate", work))
        self.problem = ""
        if then is not None:
            then(result)
        return result

    def _read(self, work: Work[T]) -> T:
        try:
            return self._transact(self._read_connection(), "begin", work)
        except FAULTS as fault:
            self._drop_reader()
            error = from_sqlite(fault, self.path)
            if error is None:
                raise
            self._mark_damage(error)
            raise error from fault
        except StoreDamaged as fault:
            self._mark_damage(fault)
            raise

    def _transact(self, db: sqlite3.Connection, begin: str, work: Work[T]) -> T:
        db.execute(begin)
        try:
            result = work(db)
            db.execute("commit")
        except BaseException:
            if db.in_transaction:
                with contextlib.suppress(sqlite3.Error):
                    db.execute("rollback")
            raise
        return result

    def _guard(self, work: Callable[[], T]) -> T:
        try:
            return work()
        except FAULTS as fault:
            self._drop_writer()
            error = from_sqlite(fault, self.path)
            if error is None:
                raise
            self.problem = str(error)
            self._mark_damage(error)
            raise error from fault
        except StoreDamaged as fault:
            self.problem = str(fault)
            self._mark_damage(fault)
            raise

    def _mark_damage(self, error: StoreError) -> None:
        if isinstance(error, StoreDamaged):
            with contextlib.suppress(OSError):
                damage_mark(self.path).touch(mode=0o600)

    def _write_connection(self) -> sqlite3.Connection:
        if self._writer is None:
            self._writer = connect(self.path)
        return self._writer

    def _read_connection(self) -> sqlite3.Connection:
        if self._reader is None:
            self._reader = connect(self.path, query_only=True)
        return self._reader

    def _drop_writer(self) -> None:
        if self._writer is not None:
            with contextlib.suppress(sqlite3.Error):
                self._writer.close()
            self._writer = None

    def _drop_reader(self) -> None:
        if self._reader is not None:
            with contextlib.suppress(sqlite3.Error):
                self._reader.close()
            self._reader = None


def _schema(db: sqlite3.Connection) -> list[tuple[str, ...]]:
    return db.execute("select type, name, tbl_name, sql from sqlite_schema order by type, name").fetchall()
