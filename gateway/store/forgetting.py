"""Retention of what is known of the past: what had ended before an edge goes, what holds still stays.

Plans that are done go by the time of their making. A moment goes with the last row that refers to it. The edge itself
is kept, so that nobody takes a day from before it for one on which nobody had access.
"""

from __future__ import annotations

import sqlite3

from gateway.store.codec import encode, from_micros

__all__ = ["forget_history", "forgotten_until"]

_KEY = "history_forgotten"
_STEPS = (
    "delete from memory_spans where last in (select number from moments where latest_us < ?)",
    "delete from roster_rows where last in (select v.number from roster_revisions v"
    " join moments m on m.number = v.moment where m.latest_us < ?)",
    "delete from roster_revisions where moment in (select number from moments where latest_us < ?)"
    " and number < (select max(number) from roster_revisions)"
    " and not exists (select 1 from roster_rows r where r.first = roster_revisions.number)"
    " and not exists (select 1 from roster_rows r where r.last = roster_revisions.number)",
)
_PLANS = (
    "delete from plan_bodies where json_extract(body, '$.created') < ? and id in (select id from plans where final = 1)"
)
_MOMENTS = (
    "delete from moments where latest_us < ?"
    " and number not in (select first from memory_spans)"
    " and number not in (select last from memory_spans where last is not null)"
    " and number not in (select moment from memory_since)"
    " and number not in (select moment from roster_revisions)"
)


def forget_history(db: sqlite3.Connection, edge_us: int) -> int:
    """Inside a transaction; how many rows went."""
    deleted = sum(db.execute(step, (edge_us,)).rowcount for step in _STEPS)
    deleted += db.execute(_PLANS, (encode(from_micros(edge_us)),)).rowcount
    db.execute("delete from plans where final = 1 and id not in (select id from plan_bodies)")
    db.execute(_MOMENTS, (edge_us,))
    db.execute("insert or replace into meta values (?, ?)", (_KEY, str(max(edge_us, forgotten_until(db) or edge_us))))
    return deleted


def forgotten_until(db: sqlite3.Connection) -> int | None:
    """The newest edge, in microseconds; None when nothing was ever forgotten."""
    row = db.execute("select value from meta where key = ?", (_KEY,)).fetchone()
    return int(row[0]) if row else None
