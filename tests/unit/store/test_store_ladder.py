"""The ladder of the database's form: up, whole, once, and never down."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from gateway.errors import StoreTooNew
from gateway.store.database import Database
from gateway.store.ladder import climb, shipped_steps

FIRST = "create table a (x integer); insert into a values (1);"
SECOND = "create table b (y integer); insert into b select x + 1 from a;"
BROKEN = "create table c (z integer); insert into nowhere values (1);"


def version(db: sqlite3.Connection) -> int:
    return int(db.execute("pragma user_version").fetchone()[0])


def tables(db: sqlite3.Connection) -> set[str]:
    return {row[0] for row in db.execute("select name from sqlite_schema where type = 'table'")}


@pytest.fixture
def db(tmp_path: Path) -> sqlite3.Connection:
    return sqlite3.connect(tmp_path / "x.db", isolation_level=None)


def test_steps_build_on_each_other_and_are_done_once(db: sqlite3.Connection) -> None:
    """An old database gets the steps that it lacks; opened again, nothing happens to it."""
    climb(db, [FIRST], Path("x.db"))
    climb(db, [FIRST, SECOND], Path("x.db"))
    climb(db, [FIRST, SECOND], Path("x.db"))
    assert version(db) == 2
    assert db.execute("select * from a join b").fetchall() == [(1, 2)]
    db.close()


def test_a_step_that_fails_leaves_no_trace(db: sqlite3.Connection) -> None:
    """Table and version of a failed step are as before it, and the one before it stands."""
    with pytest.raises(sqlite3.OperationalError):
        climb(db, [FIRST, BROKEN], Path("x.db"))
    assert (version(db), tables(db)) == (1, {"a"})
    assert not db.in_transaction
    db.close()


async def test_a_newer_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    """An older program says what to do and does not touch what it can't understand."""
    path = tmp_path / "x.db"
    newer = Database(path, [FIRST, SECOND])
    await newer.open()
    await newer.close()
    before = path.read_bytes()
    older = Database(path, [FIRST])
    with pytest.raises(StoreTooNew) as refused:
        await older.open()
    await older.close()
    assert "version 2" in refused.value.message
    assert "newer gatepost" in refused.value.remedy
    assert path.read_bytes() == before


async def test_the_shipped_steps_are_opened_twice(tmp_path: Path) -> None:
    """The real ladder leads to its own newest version and stays there."""
    for _ in range(2):
        database = Database(tmp_path / "x.db", shipped_steps())
        await database.open()
        assert await database.read(version) == len(shipped_steps()) >= 1
        assert "events" in await database.read(tables)
        await database.close()
