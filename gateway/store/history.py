"""The past, read back: spans of memories and rosters, and what journal and plans say of one transmitter.

Everything here reads on the readers' connection, beside the writer. A period's edges are compared with what bounds a
moment, so that a span whose times are not known is found for every day that it may have touched.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from datetime import datetime
from typing import Any, TypeVar

from gateway.domain.events import Event, EventName
from gateway.domain.history import Gap, MemorySpan, Moment, RosterRevision, RosterSpan
from gateway.domain.plan import Plan
from gateway.domain.transmitter import write_serial
from gateway.ports import Period
from gateway.store.codec import CodecFault, decode, parse, to_micros
from gateway.store.database import Database
from gateway.store.eventrows import read_plan_events, read_told
from gateway.store.forgetting import forget_history, forgotten_until
from gateway.store.gaps import read_gaps
from gateway.store.memoryspans import HeldContent
from gateway.store.moments import MOMENT_COLUMNS, read_moment
from gateway.store.rosterbook import read_line

__all__ = ["SqliteHistory"]

T = TypeVar("T")

_A, _B = MOMENT_COLUMNS.format("a"), MOMENT_COLUMNS.format("b")
_F, _L = (
    f"{t}.number, {t}.digest, {t}.revision, {t}.transmitters, {t}.holders, {t}.added, {t}.changed, {t}.removed"
    for t in ("f", "l")
)
_REVISION_WIDTH = 8
_MOMENT_WIDTH = 5
_LAST = 2**62
# Only words of ours are put together in these; every value is bound.
_SPANS = f"""
    select s.receiver, s.slot, s.serial, s.held, s.last, {_A}, {_B} from memory_spans s
    join moments a on a.number = s.first left join moments b on b.number = s.last
"""  # noqa: S608
_ROWS = f"""
    select r.entry, r.last, {_F}, {_A}, {_L}, {_B} from roster_rows r
    join roster_revisions f on f.number = r.first join moments a on a.number = f.moment
    left join roster_revisions l on l.number = r.last left join moments b on b.number = l.moment
"""  # noqa: S608
_REVISIONS = f"select {_F}, {_A} from roster_revisions f join moments a on a.number = f.moment"  # noqa: S608
_SINCE = f"select w.receiver, {_A} from memory_since w join moments a on a.number = w.moment"  # noqa: S608
_PLANS = """
    select p.progress, json_set(b.body, '$.changes', (
        select json_group_array(json(c.value)) from json_each(b.body, '$.changes') c
        where instr(c.value, ?) or instr(c.value, ?)
    )) from plans p join plan_bodies b using (id)
    where instr(b.body, ?) or instr(b.body, ?) order by p.sequence desc limit ?
"""
#: It may have begun before the end, and may have ended after the beginning.
_TOUCHES = (
    "(a.earliest_us is null or a.earliest_us < ?) and ({0}.last is null or b.latest_us is null or b.latest_us > ?)"
)


class SqliteHistory:
    """`ports.History`. `epoch` is the journal's."""

    def __init__(self, database: Database, epoch: str) -> None:
        self._database = database
        self._epoch = epoch

    async def memory(
        self, period: Period | None = None, *, receiver: str | None = None, serial: int | None = None
    ) -> tuple[MemorySpan, ...]:
        where, values = _where("s", period, {"s.receiver": receiver, "s.serial": serial})
        return await self._select(f"{_SPANS} where {where} order by s.receiver, s.slot, s.number", values, _span)

    async def recorded_since(self) -> Mapping[str, Moment]:
        """Never before what retention has taken away."""
        rows = await self._select(_SINCE, (), tuple)
        edge_us = await self._database.read(forgotten_until)
        edge = None if edge_us is None else read_moment(0, edge_us, 1, edge_us, edge_us)
        return {row[0]: _later(read_moment(*row[1:]), edge) for row in rows}

    async def rosters_since(self) -> Moment | None:
        oldest = await self._select(f"{_REVISIONS} order by f.number limit 1", (), _revision)
        return oldest[0].accepted if oldest else None

    async def roster(self, period: Period | None = None, *, serial: int | None = None) -> tuple[RosterSpan, ...]:
        where, values = _where("r", period, {"r.serial": serial})
        return await self._select(f"{_ROWS} where {where} order by r.serial, r.number", values, _roster_span)

    async def revisions(self, *, limit: int = 50, before: int = 0) -> tuple[RosterRevision, ...]:
        edge = before if before > 0 else _LAST
        sql = f"{_REVISIONS} where f.number < ? order by f.number desc limit ?"
        return await self._select(sql, (edge, max(0, limit)), _revision)

    async def told(self, serial: int, names: Collection[EventName], *, limit: int) -> tuple[Event, ...]:
        try:
            return await self._database.read(lambda db: read_told(db, self._epoch, write_serial(serial), names, limit))
        except CodecFault as fault:
            raise self._database.found_damaged(f"an event: {fault}") from fault

    async def plans(self, serial: int, *, limit: int) -> tuple[Plan, ...]:
        """Canonical JSON has one text for a number, so that the search needs no index and no second table.

        A plan may have a thousand changes; only those of this serial are taken out of it.
        """
        inside, last = f'"serial":{serial},', f'"serial":{serial}}}'
        found = await self._select(_PLANS, (inside, last, inside, last, max(0, limit)), _plan)
        return found[::-1]

    async def plan_events(self) -> Mapping[str, Event]:
        try:
            return await self._database.read(lambda db: read_plan_events(db, self._epoch))
        except CodecFault as fault:
            raise self._database.found_damaged(f"an event: {fault}") from fault

    async def gaps(self, receiver: str, period: Period) -> tuple[Gap, ...]:
        return await self._database.read(lambda db: read_gaps(db, receiver, period))

    async def forget(self, before: datetime) -> int:
        edge = to_micros(before)
        deleted = await self._database.write(lambda db: forget_history(db, edge))
        if deleted:
            await self._database.checkpoint()
        return deleted

    async def _select(self, sql: str, values: tuple[Any, ...], read: Callable[[tuple[Any, ...]], T]) -> tuple[T, ...]:
        """Rows are made into values in the readers' thread: thousands of them would make a line late."""
        try:
            return await self._database.read(lambda db: tuple(read(row) for row in db.execute(sql, values)))
        except CodecFault as fault:
            raise self._database.found_damaged(f"the history: {fault}") from fault


def _plan(row: tuple[Any, ...]) -> Plan:
    progress, body = row
    return decode(Plan, {**parse(body), **parse(progress)})


def _where(table: str, period: Period | None, equal: Mapping[str, Any]) -> tuple[str, tuple[Any, ...]]:
    wanted = {column: value for column, value in equal.items() if value is not None}
    conditions, values = [f"{column} = ?" for column in wanted], [*wanted.values()]
    if period is not None:
        conditions.append(_TOUCHES.format(table))
        values += [to_micros(period.end), to_micros(period.begin)]
    return " and ".join(conditions) or "true", tuple(values)


def _later(moment: Moment, edge: Moment | None) -> Moment:
    return edge if edge is not None and edge.latest is not None and moment.is_before(edge.latest) else moment


def _span(row: tuple[Any, ...]) -> MemorySpan:
    receiver, slot, serial, held, last, *moments = row
    content = decode(HeldContent, parse(held))
    return MemorySpan(
        receiver=receiver,
        slot=slot,
        serial=serial,
        name=content.name,
        outputs={int(place): outputs for place, outputs in content.outputs.items()},
        first=read_moment(*moments[:_MOMENT_WIDTH]),
        last=None if last is None else read_moment(*moments[_MOMENT_WIDTH:]),
        by_hand=content.by_hand,
    )


def _revision(row: tuple[Any, ...]) -> RosterRevision:
    number, digest, revision, transmitters, holders, added, changed, removed, *moment = row
    accepted = read_moment(*moment)
    return RosterRevision(number, digest, revision, accepted, transmitters, holders, added, changed, removed)


def _roster_span(row: tuple[Any, ...]) -> RosterSpan:
    width = _REVISION_WIDTH + _MOMENT_WIDTH
    entry, last, *rest = row
    ended = None if last is None else _revision(tuple(rest[width:]))
    return RosterSpan(read_line(entry), _revision(tuple(rest[:width])), ended)
