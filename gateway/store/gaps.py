"""When nobody watched a receiver, as far back as the journal goes: its link was lost, or the gateway was off."""

from __future__ import annotations

import sqlite3
from datetime import datetime
from typing import Any

from gateway.domain.events import EventName
from gateway.domain.history import Gap
from gateway.ports import Period
from gateway.store.codec import from_micros, to_micros

__all__ = ["read_gaps"]

_OF_RECEIVER = (EventName.LINK_LOST, EventName.LINK_RESTORED, EventName.RECEIVER_REPLACED)
_LINK = "its link was lost"
_OFF = "the gateway was off"


def read_gaps(db: sqlite3.Connection, receiver: str, period: Period) -> tuple[Gap, ...]:
    """Those that touch the period, in order. Only events of a clock that was right have a place in time."""
    found = [*_lost(db, receiver, period), *_off(db, period)]
    return tuple(sorted((gap for gap in found if _touches(gap, period)), key=lambda gap: gap.since))


def _touches(gap: Gap, period: Period) -> bool:
    return gap.since < period.end and (gap.until is None or gap.until > period.begin)


def _lost(db: sqlite3.Connection, receiver: str, period: Period) -> list[Gap]:
    marks = ", ".join("?" * len(_OF_RECEIVER))
    rows = db.execute(
        f"select name, time_us, data from events where receiver = ? and name in ({marks}) and clock_trusted = 1"  # noqa: S608
        " order by number",
        (receiver, *_OF_RECEIVER),
    )
    gaps: list[Gap] = []
    since: datetime | None = None
    why = ""
    for name, time_us, data in rows:
        time = from_micros(time_us)
        begins = _begins(name, data)
        if begins and since is None:
            since, why = time, begins
        elif not begins and since is not None:
            gaps.append(Gap(since, time, why))
            since = None
    if since is not None:
        gaps.append(Gap(since, None, why))
    return [gap for gap in gaps if _touches(gap, period)]


def _begins(name: str, data: str) -> str:
    """Why nobody watches from here on; empty when somebody does again."""
    if name == EventName.LINK_LOST:
        return _LINK
    if name == EventName.RECEIVER_REPLACED and '"confirmed":false' in data:
        return "another receiver answered in its place"
    return ""


def _off(db: sqlite3.Connection, period: Period) -> list[Gap]:
    """From the event before each start to the start itself: the last sign of life, also after a power cut."""
    starts = db.execute(
        "select number, time_us from events where name = ? and clock_trusted = 1 order by number",
        (EventName.GATEWAY_STARTED.value,),
    ).fetchall()
    gaps = []
    for number, time_us in starts:
        before: tuple[Any, ...] | None = db.execute(
            "select time_us from events where number < ? and clock_trusted = 1 order by number desc limit 1", (number,)
        ).fetchone()
        if before is not None and time_us > before[0] and to_micros(period.begin) < time_us:
            gaps.append(Gap(from_micros(before[0]), from_micros(time_us), _OFF))
    return gaps
