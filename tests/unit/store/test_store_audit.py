"""The audit: who, what, when, and a chain that shows every change to what was written."""

from __future__ import annotations

import hashlib
import json
import sqlite3
from collections.abc import Awaitable, Callable
from datetime import timedelta
from typing import Any

import pytest

from gateway.errors import NotFound
from gateway.store.opening import Store
from tests.fakes.clock import FakeClock
from tests.fakes.store_samples import MORNING, both_lives

Opener = Callable[[], Awaitable[Store]]


async def fill(store: Store, count: int = 5) -> None:
    for number in range(1, count + 1):
        await store.audit.record("token t1", "revocation.add", {"serial": f"{number:010d}"})


async def change(store: Store, sql: str, *values: Any) -> None:
    await store._database.write(lambda db: db.execute(sql, values))


async def test_rows_tell_who_what_when_and_how_it_ended(store: Store, clock: FakeClock, reopen: Opener) -> None:
    """Newest first, by pages, also after a restart."""
    await store.audit.record("uid 0", "token.add", {"name": "Yard"})
    await clock.advance(5)
    await store.audit.record("token t1", "output.operate", outcome="refused")
    async for opened in both_lives(store, reopen):
        newest, first = await opened.audit.read()
        assert (newest.number, newest.who, newest.what, newest.outcome) == (2, "token t1", "output.operate", "refused")
        assert newest.time == MORNING + timedelta(seconds=5)
        assert (newest.detail, first.detail) == ({}, {"name": "Yard"})
        assert await opened.audit.read(limit=1) == (newest,)
        assert await opened.audit.read(before=2) == (first,)


async def test_the_chain_is_as_documented(store: Store) -> None:
    """Worked out here by hand from the rule: SHA-256 over the hash before, then canonical JSON of the public part."""
    row = await store.audit.record("uid 0", "token.add", {"name": "Yard"})
    salt, personal = await store._database.read(lambda db: db.execute("select salt, personal from audit").fetchone())
    assert json.loads(personal) == {"name": "Yard"}
    public = {
        "boot": "boot-1",
        "monotonic": 1000.0,
        "number": 1,
        "outcome": "done",
        "personal": hashlib.sha256(salt + personal.encode()).hexdigest(),
        "what": "token.add",
        "when": int(MORNING.timestamp()) * 1_000_000,
        "who": "uid 0",
    }
    text = json.dumps(public, separators=(",", ":"))
    assert row.hash == hashlib.sha256(bytes(32) + text.encode()).hexdigest()


async def test_an_untouched_chain_is_whole(store: Store, reopen: Opener) -> None:
    """Empty, grown, and over a restart; the head is the newest row's hash."""
    assert (await store.audit.verify()).rows == 0
    await fill(store)
    store = await reopen()
    await fill(store)
    found = await store.audit.verify()
    (newest,) = await store.audit.read(limit=1)
    assert (found.rows, found.head, found.broken, found.problem) == (10, newest.hash, None, "")


@pytest.mark.parametrize(
    "column",
    ["time_us", "boot_id", "monotonic_s", "who", "what", "outcome", "salt", "personal", "personal_hash", "hash"],
)
async def test_any_altered_value_is_found_with_its_row(store: Store, column: str) -> None:
    """Whichever column of row 3 differs in its last bit or letter, row 3 is named."""
    await fill(store)

    def alter(db: sqlite3.Connection) -> None:
        (value,) = db.execute(f"select {column} from audit where number = 3").fetchone()
        db.execute(f"update audit set {column} = ? where number = 3", (altered(value),))

    await store._database.write(alter)
    found = await store.audit.verify()
    assert (found.broken, found.rows) == (3, 2)
    assert "3" in found.problem


def altered(value: Any) -> Any:
    if isinstance(value, bytes):
        return value[:-1] + bytes([value[-1] ^ 1])
    return value + "x" if isinstance(value, str) else value + 1


@pytest.mark.parametrize("number", [1, 3, 5])
async def test_any_dropped_row_is_found(store: Store, number: int) -> None:
    """The first, one in the middle, and the newest, which the chain alone would not miss."""
    await fill(store)
    await change(store, "delete from audit where number = ?", number)
    assert (await store.audit.verify()).broken == number


async def test_renumbering_after_a_dropped_row_is_found(store: Store) -> None:
    """Closing the gap does not help."""
    await fill(store)
    await change(store, "delete from audit where number = 3")
    await change(store, "update audit set number = number - 1 where number > 3")
    assert (await store.audit.verify()).broken == 3


async def test_a_row_put_in_at_the_end_is_found(store: Store) -> None:
    """A forged row that nobody recorded does not fit the head."""
    await fill(store, 2)
    await change(
        store,
        "insert into audit select 3, time_us, boot_id, monotonic_s, 'nobody', what, outcome, salt, personal,"
        " personal_hash, hash from audit where number = 2",
    )
    assert (await store.audit.verify()).broken == 3


async def test_erasing_what_is_personal_keeps_the_chain(store: Store) -> None:
    """The detail is gone, that it happened is not."""
    await fill(store)
    await store.audit.erase(2)
    rows = await store.audit.read()
    assert [row.detail for row in rows if row.number == 2] == [None]
    assert (await store.audit.verify()).broken is None
    with pytest.raises(NotFound):
        await store.audit.erase(99)


async def test_half_erasing_is_found(store: Store) -> None:
    """Salt or detail alone can't be taken away unseen."""
    await fill(store)
    await change(store, "update audit set salt = null where number = 4")
    assert (await store.audit.verify()).broken == 4


async def test_old_rows_go_and_the_chain_goes_on(store: Store, clock: FakeClock, reopen: Opener) -> None:
    """From the beginning, up to the first that is young enough; what is left verifies, and so does what comes after."""
    await fill(store, 3)
    await clock.advance(10)
    await fill(store, 2)
    head = (await store.audit.verify()).head
    assert await store.audit.forget(MORNING) == 0
    assert await store.audit.forget(MORNING + timedelta(seconds=10)) == 3
    assert await store.audit.forget(MORNING + timedelta(seconds=10)) == 0
    async for opened in both_lives(store, reopen):
        assert [row.number for row in await opened.audit.read()] == [5, 4]
        check = await opened.audit.verify()
        assert (check.rows, check.head, check.broken) == (2, head, None)
    again = await reopen()
    assert (await again.audit.record("uid 0", "token.add")).number == 6
    assert (await again.audit.verify()).broken is None
    assert await again.audit.forget(MORNING + timedelta(days=9)) == 2  # the newest stays, for the chain hangs on it
    assert (await again.audit.verify()).rows == 1


async def test_rows_taken_from_the_beginning_are_missed(store: Store, clock: FakeClock) -> None:
    """Retention says how far it went; whoever takes one row more is found out."""
    await fill(store, 3)
    await clock.advance(10)
    await fill(store, 3)
    await change(store, "delete from audit where number = 1")
    assert (await store.audit.verify()).broken == 1
    await store.audit.forget(MORNING + timedelta(seconds=10))
    assert (await store.audit.verify()).broken is None
    await change(store, "delete from audit where number = 4")
    check = await store.audit.verify()
    assert (check.broken, check.problem) == (4, "row 4 is missing")


async def test_a_clock_that_ran_ahead_tears_no_hole(store: Store, clock: FakeClock) -> None:
    """A row with a time in the middle of older ones is where forgetting stops."""
    await fill(store, 3)
    await change(store, "update audit set time_us = time_us + 86400000000 where number = 2")
    assert await store.audit.forget(MORNING + timedelta(seconds=1)) == 1
    assert [row.number for row in await store.audit.read()] == [3, 2]
