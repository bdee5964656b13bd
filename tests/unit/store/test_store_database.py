"""The database: durable settings on every connection, whole transactions, and recovery from a disk that fails."""

from __future__ import annotations

import asyncio
import sqlite3
import threading
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from gateway.errors import StoreDamaged, StoreUnavailable
from gateway.store.database import Database, connect, damage_mark

STEPS = ("create table berths (number integer primary key, name text not null) strict;",)


@pytest.fixture
async def database(tmp_path: Path) -> AsyncIterator[Database]:
    opened = Database(tmp_path / "yard.db", STEPS)
    await opened.open()
    yield opened
    await opened.close()


def modes(folder: Path) -> dict[str, int]:
    return {file.name: file.stat().st_mode & 0o777 for file in folder.iterdir()}


def add(name: str, db: sqlite3.Connection) -> None:
    db.execute("insert into berths (name) values (?)", (name,))


def names(db: sqlite3.Connection) -> list[str]:
    return [row[0] for row in db.execute("select name from berths order by number")]


def pragmas(db: sqlite3.Connection) -> dict[str, object]:
    wanted = ("journal_mode", "synchronous", "secure_delete", "temp_store", "cell_size_check", "page_size")
    return {name: db.execute(f"pragma {name}").fetchone()[0] for name in wanted}


async def test_every_connection_syncs_each_commit(database: Database) -> None:
    """Write-ahead log, synchronous FULL (2) and secure deletion hold for the writer, the reader, and one reopened."""
    durable = {
        "journal_mode": "wal",
        "synchronous": 2,
        "secure_delete": 1,
        "temp_store": 2,
        "cell_size_check": 1,
        "page_size": 1024,
    }
    assert await database.write(pragmas) == durable
    assert await database.read(pragmas) == durable
    with pytest.raises(StoreUnavailable):
        await database.write(fill_up)
    assert await database.write(pragmas) == durable


def fill_up(db: sqlite3.Connection) -> None:
    """No page more than there are now: what a full disk says (SQLITE_FULL), on this connection alone."""
    db.execute(f"pragma max_page_count = {db.execute('pragma page_count').fetchone()[0]}")
    db.executemany("insert into berths (name) values (?)", [("x" * 400,)] * 50)


async def test_a_full_disk_keeps_nothing_and_goes_on_when_there_is_room(database: Database) -> None:
    """Nothing of the failed transaction stays, the problem is told, and the next write that fits ends it."""
    await database.write(lambda db: add("Berth 1", db))
    with pytest.raises(StoreUnavailable) as failed:
        await database.write(fill_up)
    assert "full" in failed.value.message
    assert "Free some disk space" in failed.value.remedy
    assert database.problem
    assert await database.read(names) == ["Berth 1"]
    await database.write(lambda db: add("Berth 2", db))
    assert database.problem == ""
    assert await database.read(names) == ["Berth 1", "Berth 2"]


async def test_a_transaction_that_raises_leaves_nothing(database: Database) -> None:
    """One function is one transaction, whole or not at all; the error comes through as it was."""

    def half(db: sqlite3.Connection) -> None:
        add("Berth 1", db)
        raise LookupError("on purpose")

    with pytest.raises(LookupError, match="on purpose"):
        await database.write(half)
    assert await database.write(names) == []


async def test_a_mistake_of_ours_is_not_dressed_up_as_a_disk_fault(database: Database) -> None:
    """A broken statement or constraint stays sqlite3's own error, and the database works on."""
    with pytest.raises(sqlite3.OperationalError):
        await database.write(lambda db: db.execute("select nothing from nowhere"))
    with pytest.raises(sqlite3.IntegrityError):
        await database.write(lambda db: db.execute("insert into berths (name) values (null)"))
    await database.write(lambda db: add("Berth 1", db))
    assert await database.read(names) == ["Berth 1"]


async def test_readers_read_while_a_commit_runs(database: Database) -> None:
    """A page is read in the middle of a long transaction, and shows the state before it."""
    await database.write(lambda db: add("Berth 1", db))
    begun, go_on = threading.Event(), threading.Event()

    def slow(db: sqlite3.Connection) -> None:
        add("Berth 2", db)
        begun.set()
        assert go_on.wait(10)

    writing = asyncio.ensure_future(database.write(slow))
    await asyncio.to_thread(begun.wait, 10)
    assert await database.read(names) == ["Berth 1"]
    go_on.set()
    await writing
    assert await database.read(names) == ["Berth 1", "Berth 2"]


async def test_a_reader_can_not_write(database: Database) -> None:
    """Only the writing thread changes anything."""
    with pytest.raises(StoreUnavailable):
        await database.read(lambda db: add("Berth 1", db))


async def test_a_cancelled_caller_leaves_a_whole_commit(database: Database) -> None:
    """What had begun is committed and taken over into memory although nobody waits for it any more."""
    begun, go_on = threading.Event(), threading.Event()
    kept: list[str] = []

    def slow(db: sqlite3.Connection) -> str:
        begun.set()
        assert go_on.wait(10)
        add("Berth 1", db)
        return "Berth 1"

    writing = asyncio.ensure_future(database.write(slow, kept.append))
    await asyncio.to_thread(begun.wait, 10)
    writing.cancel()
    with pytest.raises(asyncio.CancelledError):
        await writing
    go_on.set()
    assert await database.write(names) == ["Berth 1"]
    assert kept == ["Berth 1"]


async def test_the_file_is_for_its_owner_alone(database: Database, tmp_path: Path) -> None:
    """Database, log and index can't be read by group or others."""
    await database.write(lambda db: add("Berth 1", db))
    assert modes(tmp_path) == {"yard.db": 0o600, "yard.db-shm": 0o600, "yard.db-wal": 0o600}


async def test_damage_met_while_running_is_remembered(database: Database) -> None:
    """A row that is no text any more is damage; a mark is left so that the next start sets the file aside."""
    await database.write(lambda db: db.execute("insert into berths (name) values (cast(x'ff41' as text))"))
    with pytest.raises(StoreDamaged):
        await database.read(names)
    assert damage_mark(database.path).exists()


async def test_a_file_that_is_no_database_is_damage(tmp_path: Path) -> None:
    """Rubbish is told apart from a disk that fails."""
    path = tmp_path / "yard.db"
    path.write_bytes(b"ballast " * 1000)
    database = Database(path, STEPS)
    with pytest.raises(StoreDamaged, match="damaged"):
        await database.open()
    await database.close()


async def test_a_folder_that_is_missing_says_what_to_do(tmp_path: Path) -> None:
    """No traceback of the operating system, but a sentence."""
    database = Database(tmp_path / "nowhere" / "yard.db", STEPS)
    with pytest.raises(StoreUnavailable) as failed:
        await database.open()
    assert failed.value.remedy
    await database.close()


async def test_a_checkpoint_empties_the_log(database: Database) -> None:
    """After it nothing of what was written or deleted is left in the write-ahead log."""
    await database.write(lambda db: add("Berth 1", db))
    log = database.path.with_name("yard.db-wal")
    assert log.stat().st_size > 0
    await database.checkpoint()
    assert log.stat().st_size == 0


async def test_closing_twice_is_harmless_before_and_after_opening(tmp_path: Path) -> None:
    """Cleaning up works after a start that got half-way."""
    database = Database(tmp_path / "yard.db", STEPS)
    await database.close()
    database = Database(tmp_path / "yard.db", STEPS)
    await database.open()
    await database.close()


def test_a_connection_never_creates_a_file(tmp_path: Path) -> None:
    """Only `Database` creates, with the right mode."""
    with pytest.raises(sqlite3.OperationalError):
        connect(tmp_path / "new.db")
    assert list(tmp_path.iterdir()) == []
