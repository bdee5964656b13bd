"""When something happened, also by a clock that was wrong.

A moment of a clock that is right is known at once. One of a clock that isn't is bounded from below by the last time
that was known, and settled when the clock becomes right: exactly, by the monotonic clock, when that is in the same
start of the system; else it was before this start. So a gateway without a battery-backed clock still says truly what
it knows (rule 7 of the design).
"""

from __future__ import annotations

import sqlite3
from datetime import datetime

from gateway.domain.history import Moment
from gateway.store.codec import from_micros, to_micros
from gateway.store.eventrows import Stamp

__all__ = ["MOMENT_COLUMNS", "Moments", "read_moment"]

#: What `read_moment` takes, of a table called by the letter put in.
MOMENT_COLUMNS = "{0}.number, {0}.clock_us, {0}.trusted, {0}.earliest_us, {0}.latest_us"
_INSERT = (
    "insert into moments (clock_us, trusted, boot_id, monotonic_s, earliest_us, latest_us) values (?, ?, ?, ?, ?, ?)"
)


class Moments:
    """Writes moments inside the journal's transaction. `keep` follows it."""

    def __init__(self) -> None:
        self._known_us: int | None = None
        self._unsettled = False
        self._next: tuple[int | None, bool] = (None, False)

    def fill(self, db: sqlite3.Connection) -> None:
        (self._known_us,) = db.execute("select max(latest_us) from moments").fetchone()
        (unsettled,) = db.execute("select exists (select 1 from moments where latest_us is null)").fetchone()
        self._unsettled = bool(unsettled)
        self._next = (self._known_us, self._unsettled)

    def settle(self, db: sqlite3.Connection, stamp: Stamp) -> None:
        """At the beginning of every transaction: a right clock says when earlier moments were."""
        self._next = (self._known_us, self._unsettled)
        if not stamp.clock_trusted:
            return
        now_us = to_micros(stamp.time)
        if self._unsettled:
            _settle(db, stamp, now_us)
        self._next = (now_us, False)

    def add(self, db: sqlite3.Connection, stamp: Stamp) -> int:
        """A moment of now; its number. After `settle` of the same stamp."""
        known_us, unsettled = self._next
        clock_us = to_micros(stamp.time)
        earliest, latest = (clock_us, clock_us) if stamp.clock_trusted else (known_us, None)
        self._next = (known_us, unsettled or not stamp.clock_trusted)
        row = (clock_us, stamp.clock_trusted, stamp.boot_id, stamp.monotonic_s, earliest, latest)
        (number,) = db.execute(f"{_INSERT} returning number", row).fetchone()
        return int(number)

    def add_earlier(self, db: sqlite3.Connection, stamp: Stamp, time: datetime, trusted: bool) -> int:
        """A moment of an earlier run, of which the wall clock alone is known; at the latest now."""
        clock_us = to_micros(time)
        latest = to_micros(stamp.time) if stamp.clock_trusted else None
        earliest, latest = (clock_us, clock_us) if trusted else (None, latest)
        known_us, unsettled = self._next
        self._next = (known_us, unsettled or latest is None)
        (number,) = db.execute(f"{_INSERT} returning number", (clock_us, trusted, "", 0.0, earliest, latest)).fetchone()
        return int(number)

    def keep(self) -> None:
        """Take over what has just become durable."""
        self._known_us, self._unsettled = self._next


def _settle(db: sqlite3.Connection, stamp: Stamp, now_us: int) -> None:
    begun_us = now_us - round(stamp.monotonic_s * 1_000_000)
    db.execute(
        "update moments set latest_us = max(?, coalesce(earliest_us, ?)) where latest_us is null and boot_id <> ?",
        (begun_us, begun_us, stamp.boot_id),
    )
    rows = db.execute("select number, monotonic_s, earliest_us from moments where latest_us is null").fetchall()
    for number, monotonic_s, earliest_us in rows:
        at_us = now_us - round((stamp.monotonic_s - monotonic_s) * 1_000_000)
        at_us = at_us if earliest_us is None else max(at_us, earliest_us)
        db.execute("update moments set earliest_us = ?, latest_us = ? where number = ?", (at_us, at_us, number))


def read_moment(number: int, clock_us: int, trusted: int, earliest_us: int | None, latest_us: int | None) -> Moment:
    """From the columns of `MOMENT_COLUMNS`."""
    earliest, latest = (None if micros is None else from_micros(micros) for micros in (earliest_us, latest_us))
    return Moment(from_micros(clock_us), bool(trusted), earliest, latest, number)
