"""Events as rows: writing, reading a page, forgetting.

Numbers have no gaps but those of retention, and are never used twice: what is forgotten raises a floor in the
same transaction. Knows the table, and neither threads nor waiting.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from gateway.domain.events import Event, EventDraft, EventId, EventName, Span
from gateway.domain.transmitter import write_serial
from gateway.ports import EventFilter
from gateway.store.codec import CodecFault, from_micros, parse, to_micros

__all__ = [
    "Stamp",
    "add_events",
    "forget",
    "forget_of_serial",
    "forget_oldest",
    "newest_number",
    "oldest_number",
    "read_events",
    "read_plan_events",
    "read_told",
]

_COLUMNS = (
    "select events.number, name, receiver, time_us, clock_trusted, boot_id, monotonic_s, data, earliest_us, latest_us"
    " from events left join boots on boots.number = events.boot"
)
_LAST = 2**62
_PLAN_EVENTS = 5000  # our choice: years of a daily sync
_MANY_VALUES = 100  # beyond it one scan is simpler than as many searches


@dataclass(frozen=True, slots=True)
class Stamp:
    """When a commit was asked for."""

    time: datetime
    clock_trusted: bool
    boot_id: str
    monotonic_s: float


def newest_number(db: sqlite3.Connection) -> int:
    """The highest number ever given; 0 before the first event."""
    (newest,) = db.execute("select coalesce(max(number), 0) from events").fetchone()
    floor = db.execute("select value from meta where key = 'floor'").fetchone()
    return max(int(newest), int(floor[0]) if floor else 0)


def oldest_number(db: sqlite3.Connection) -> int:
    """The lowest number kept; 0 when nothing is."""
    (oldest,) = db.execute("select coalesce(min(number), 0) from events").fetchone()
    return int(oldest)


def add_events(
    db: sqlite3.Connection, drafts: tuple[EventDraft, ...], data: tuple[str, ...], stamp: Stamp
) -> tuple[int, ...]:
    """Write drafts, whose data are given as canonical JSON; their numbers."""
    if not drafts:
        return ()
    boot = _boot_number(db, stamp.boot_id)
    first = newest_number(db) + 1
    numbers = tuple(range(first, first + len(drafts)))
    time_us = to_micros(stamp.time)
    db.executemany(
        "insert into events values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        [
            (
                number,
                draft.name.value,
                draft.receiver,
                time_us,
                stamp.clock_trusted,
                boot,
                stamp.monotonic_s,
                text,
                to_micros(draft.late.earliest) if draft.late else None,
                to_micros(draft.late.latest) if draft.late else None,
            )
            for number, draft, text in zip(numbers, drafts, data, strict=True)
        ],
    )
    return numbers


def read_events(
    db: sqlite3.Connection, epoch: str, after: int, *, limit: int, wanted: EventFilter, newest_first: bool
) -> tuple[Event, ...]:
    """One page. Raises CodecFault when a row is not what was written."""
    compare, order = ("<", "desc") if newest_first else (">", "asc")
    edge = after if after > 0 or not newest_first else _LAST
    condition, values = _condition(wanted, f"number {compare} ?", min(edge, _LAST), order, max(0, limit))
    rows = db.execute(f"{_COLUMNS} where {condition} order by events.number {order} limit ?", (*values, max(0, limit)))
    return tuple(_event(epoch, row) for row in rows)


def read_told(db: sqlite3.Connection, epoch: str, serial: str, names: Collection[str], limit: int) -> tuple[Event, ...]:
    """The newest events of these names whose data have this serial, oldest first. Raises CodecFault.

    A serial stands in JSON as a text of ten digits under the key `serial`, and canonical JSON has one text for that.
    """
    wanted = sorted(names)
    rows = db.execute(
        f"{_COLUMNS} where name in ({_marks(wanted)}) and instr(data, ?) order by events.number desc limit ?",
        (*wanted, f'"serial":"{serial}"', max(0, limit)),
    ).fetchall()
    return tuple(_event(epoch, row) for row in reversed(rows))


def read_plan_events(db: sqlite3.Connection, epoch: str) -> dict[str, Event]:
    """The last event of each plan that the newest of them tell of, by plan id. Raises CodecFault."""
    wanted = (EventName.PLAN_HELD.value, EventName.PLAN_APPLIED.value, EventName.PLAN_FAILED.value)
    rows = db.execute(
        f"{_COLUMNS} where name in ({_marks(list(wanted))}) order by events.number desc limit ?",
        (*wanted, _PLAN_EVENTS),
    ).fetchall()
    found: dict[str, Event] = {}
    for row in rows:
        event = _event(epoch, row)
        found.setdefault(str(event.data.get("plan", "")), event)
    return found


def forget(db: sqlite3.Connection, name: EventName, before: datetime, at_most: int) -> int:
    """Delete up to `at_most` events of this name older than `before`; how many there were."""
    floor = newest_number(db)
    deleted = db.execute(
        "delete from events where number in"
        " (select number from events where name = ? and time_us < ? order by number limit ?)",
        (name.value, to_micros(before), at_most),
    ).rowcount
    if deleted:
        db.execute("insert or replace into meta values ('floor', ?)", (str(floor),))
    return deleted


def forget_of_serial(db: sqlite3.Connection, name: EventName, serial: int) -> int:
    """Delete the events of this name that tell of one transmitter; how many there were. See `read_told`."""
    floor = newest_number(db)
    deleted = db.execute(
        "delete from events where name = ? and instr(data, ?)", (name.value, f'"serial":"{write_serial(serial)}"')
    ).rowcount
    if deleted:
        db.execute("insert or replace into meta values ('floor', ?)", (str(floor),))
    return deleted


def forget_oldest(db: sqlite3.Connection, keep: int, at_most: int) -> int:
    """Delete up to `at_most` of the oldest events beyond the newest `keep`; how many there were."""
    floor = newest_number(db)
    last = db.execute("select number from events order by number desc limit 1 offset ?", (keep,)).fetchone()
    if last is None:
        return 0
    deleted = db.execute(
        "delete from events where number in (select number from events where number <= ? order by number limit ?)",
        (last[0], at_most),
    ).rowcount
    db.execute("insert or replace into meta values ('floor', ?)", (str(floor),))
    return deleted


def _boot_number(db: sqlite3.Connection, boot_id: str) -> int:
    known = db.execute("select number from boots where boot_id = ?", (boot_id,)).fetchone()
    if known:
        return int(known[0])
    return int(db.execute("insert into boots (boot_id) values (?) returning number", (boot_id,)).fetchone()[0])


def _condition(
    wanted: EventFilter, edge_condition: str, edge: int, order: str, limit: int
) -> tuple[str, tuple[Any, ...]]:
    """Each wanted name (or receiver) is searched in its index for one page; the page is among what was found."""
    names, receivers = sorted(wanted.names), sorted(wanted.receivers)
    column, terms = ("name", names) if names else ("receiver", receivers)
    rest = f" and receiver in ({_marks(receivers)})" if names and receivers else ""
    rest_values: list[str | int] = [*receivers] if names and receivers else []
    for limit_of_time, compare in ((wanted.since, ">="), (wanted.until, "<")):
        if limit_of_time is not None:
            rest += f" and time_us {compare} ?"
            rest_values.append(to_micros(limit_of_time))
    if not terms:
        return f"events.{edge_condition}{rest}", (edge, *rest_values)
    if len(terms) > _MANY_VALUES:
        return f"events.{edge_condition} and {column} in ({_marks(terms)}){rest}", (edge, *terms, *rest_values)
    one = (  # only words of ours are put together here, every value is bound
        f"select number from (select number from events where {column} = ? and {edge_condition}{rest}"  # noqa: S608
        f" order by number {order} limit ?)"
    )
    values: tuple[Any, ...] = ()
    for term in terms:
        values += (term, edge, *rest_values, limit)
    return f"events.number in ({' union all '.join([one] * len(terms))})", values


def _marks(values: list[Any] | list[str] | list[EventName]) -> str:
    return ", ".join("?" * len(values))


def _event(epoch: str, row: tuple[Any, ...]) -> Event:
    number, name, receiver, time_us, clock_trusted, boot_id, monotonic_s, data, earliest_us, latest_us = row
    try:
        known = EventName(name)
    except ValueError as fault:
        raise CodecFault(f"event {number}: no event is called {name!r:.40}") from fault
    fields = parse(data)
    if boot_id is None:
        raise CodecFault(f"event {number}: its start of the system is missing")
    if not isinstance(fields, Mapping):
        raise CodecFault(f"event {number}: its data is no object")
    late = None
    if earliest_us is not None and latest_us is not None:
        late = Span(from_micros(earliest_us), from_micros(latest_us))
    return Event(
        id=EventId(epoch, number),
        name=known,
        receiver=receiver,
        time=from_micros(time_us),
        clock_trusted=bool(clock_trusted),
        boot_id=boot_id,
        monotonic_s=monotonic_s,
        data=fields,
        late=late,
    )
