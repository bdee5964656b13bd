"""Counting events by quarters of an hour, in the database: a month of presses is a few thousand numbers, not rows.

Quarters, because every zone in use is a multiple of 15 minutes away from UTC (IANA tz; since 1972), so that whoever
counts by the site's hours and days needs nothing finer.
"""

from __future__ import annotations

import sqlite3
from datetime import datetime
from typing import Any

from gateway.ports import EventFilter
from gateway.store.codec import from_micros, to_micros

__all__ = ["tally_events"]

_WORKS = "exists (select 1 from json_each(data, '$.outputs') where value in ({marks}))"
_QUARTER_US = 15 * 60 * 1_000_000


def tally_events(db: sqlite3.Connection, wanted: EventFilter, outputs: tuple[int, ...]) -> dict[datetime, int]:
    """How many in each quarter that has any."""
    conditions, values = ["json_extract(data, '$.enrolling') is not 1"], list[Any]()
    for column, terms in (("name", sorted(wanted.names)), ("receiver", sorted(wanted.receivers))):
        if terms:
            conditions.append(f"{column} in ({_marks(terms)})")
            values += terms
    for compare, limit in ((">=", wanted.since), ("<", wanted.until)):
        if limit is not None:
            conditions.append(f"time_us {compare} ?")
            values.append(to_micros(limit))
    if outputs:
        conditions.append(_WORKS.format(marks=_marks(outputs)))
        values += outputs
    rows = db.execute(  # only words of ours are put together here, every value is bound
        f"select time_us / {_QUARTER_US}, count(*) from events where {' and '.join(conditions)} group by 1",  # noqa: S608
        values,
    )
    return {from_micros(quarter * _QUARTER_US): count for quarter, count in rows}


def _marks(terms: list[Any] | tuple[Any, ...]) -> str:
    return ", ".join("?" * len(terms))
