"""Requests with an `Idempotency-Key`, and what was answered to them.

The key is noted in a transaction of its own before anything is done, so that a power cut in the middle leaves a
trace: the request may or may not have been done, and isn't done again by itself. Rows of this boot age by monotonic
time; rows of earlier ones by wall time, and only while that is known to be right. What a row answers may name people,
so rows go after a day.
"""

from __future__ import annotations

import sqlite3
from datetime import timedelta

from gateway.clock import Clock
from gateway.ports import Replay, Trust
from gateway.store.codec import canonical, parse, to_micros
from gateway.store.database import Database

__all__ = ["KEPT", "KEPT_S", "SqliteReplays"]

KEPT = 1000  # our choice: some hundred are ever meant to be sent again
KEPT_S = 24 * 3600.0


class SqliteReplays:
    """`ports.Replays`."""

    def __init__(self, database: Database, *, clock: Clock, trust: Trust, boot_id: str) -> None:
        self._database = database
        self._clock = clock
        self._trust = trust
        self._boot_id = boot_id

    async def begin(self, key: str, digest: bytes) -> Replay | None:
        now, monotonic_s = self._clock.now(), float(self._clock.monotonic())
        row = (key, digest, self._boot_id, monotonic_s, to_micros(now), 0, "{}", b"")
        wall_edge = to_micros(now - timedelta(seconds=KEPT_S)) if self._trust.trusted else None

        def work(db: sqlite3.Connection) -> Replay | None:
            self._forget_old(db, monotonic_s - KEPT_S, wall_edge)
            found = db.execute("select digest, status, headers, body from replays where key = ?", (key,)).fetchone()
            if found is not None:
                return Replay(found[0], found[1], parse(found[2]), found[3])
            _make_room(db)
            db.execute("insert into replays values (?, ?, ?, ?, ?, ?, ?, ?)", row)
            return None

        return await self._database.write(work)

    async def finish(self, key: str, replay: Replay) -> None:
        values = (replay.status, canonical(dict(replay.headers)), replay.body, key)
        await self._database.write(
            lambda db: db.execute("update replays set status = ?, headers = ?, body = ? where key = ?", values).rowcount
        )

    async def forget(self, key: str) -> None:
        await self._database.write(lambda db: db.execute("delete from replays where key = ?", (key,)).rowcount)

    def _forget_old(self, db: sqlite3.Connection, monotonic_edge: float, wall_edge: int | None) -> None:
        db.execute("delete from replays where boot_id = ? and monotonic_s <= ?", (self._boot_id, monotonic_edge))
        if wall_edge is not None:
            db.execute("delete from replays where boot_id != ? and time_us <= ?", (self._boot_id, wall_edge))


def _make_room(db: sqlite3.Connection) -> None:
    """The oldest gives way to one more."""
    db.execute(
        "delete from replays where rowid in (select rowid from replays order by rowid desc limit -1 offset ?)",
        (KEPT - 1,),
    )
