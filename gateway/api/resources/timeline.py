"""The timeline in sentences, its export for a spreadsheet, and how often gates are used."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from datetime import date, datetime, timedelta

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_query
from gateway.api.caller import caller_of
from gateway.api.context import context_of
from gateway.api.cursors import read_number, write_cursor
from gateway.api.faults import Place, RequestFault
from gateway.api.happenings import Looking, days_as_times
from gateway.api.models.timeline import (
    DayUse,
    ExportQuery,
    HourUse,
    TimelineAnswer,
    TimelineQuery,
    TimelineRow,
    UseAnswer,
    UseQuery,
)
from gateway.api.operations import Operation
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.api.services import Services
from gateway.domain.events import EventName
from gateway.domain.spreadsheet import csv_line
from gateway.ports import EventFilter

__all__ = ["OPERATIONS", "count_use", "export_timeline", "list_timeline"]

_LOOKED_THROUGH = 5000  # events for one page
_EXPORTED = 100_000  # rows of one export
_DAYS, _MOST_DAYS = 30, 400
_COLUMNS = ("time", "earliest", "latest", "what happened", "who", "serial", "gates", "receiver", "event", "id")


async def list_timeline(request: web.Request) -> web.StreamResponse:
    """A page of what happened, newest first, in sentences. Asking for a person is itself in the audit."""
    services = context_of(request).services
    query = read_query(request, TimelineQuery)
    before = read_number("timeline", query.cursor) if query.cursor else 0
    personal = caller_of(request).may(Scope.ROSTER)
    if personal and query.who and not query.cursor:
        async with audited(request, "timeline.asked", {"who": query.who}):
            pass
    rows: list[TimelineRow] = []
    looked, more = 0, True
    async for found, at in Looking(services, query, personal).pages(before):
        looked += 1
        room = query.limit - len(rows)
        rows += found[:room]
        before = _number(rows[-1]) if len(found) > room else at
        if len(rows) >= query.limit or looked * 500 >= _LOOKED_THROUGH:
            break
    else:
        more = False
    return reply(TimelineAnswer(rows=rows, next=write_cursor("timeline", before) if more else None))


async def export_timeline(request: web.Request) -> web.StreamResponse:
    """What happened, newest first, as a CSV file that is safe to open in a spreadsheet; 100,000 rows at most."""
    services = context_of(request).services
    query = read_query(request, ExportQuery)
    name = f"{re.sub(r'[^A-Za-z0-9-]+', '-', services.gateway_id)}-timeline.csv"
    response = web.StreamResponse(
        headers={
            "Content-Type": "text/csv; charset=utf-8",
            "Content-Disposition": f'attachment; filename="{name}"',
        }
    )
    async with audited(request, "timeline.exported", query.model_dump(mode="json", exclude_defaults=True)):
        await response.prepare(request)
        await response.write(("\ufeff" + csv_line(_COLUMNS)).encode())
        left = _EXPORTED
        async for rows, _ in Looking(services, query, personal=True).pages(0):
            await response.write("".join(_line(services, row) for row in rows[:left]).encode())
            left -= len(rows)
            if left <= 0:
                break
        await response.write_eof()
    return response


async def count_use(request: web.Request) -> web.StreamResponse:
    """Presses that worked a gate, by day and by hour of the day, in the site's zone. Counts name nobody."""
    services = context_of(request).services
    query = read_query(request, UseQuery)
    today = services.clock.now().astimezone(services.zone).date()
    last = query.to_day or today
    first = query.from_day or last - timedelta(days=_DAYS - 1)
    if not 0 <= (last - first).days < _MOST_DAYS:
        raise RequestFault(
            "query-invalid",
            f"The days must be in order, and {_MOST_DAYS} at most.",
            remedy="Ask for fewer days.",
            places=[Place(f"it is before from_day, or more than {_MOST_DAYS - 1} days behind it", parameter="to_day")],
        )
    quarters = await _quarters(services, query.gate, first, last)
    days, hours = Counter[date](), Counter[int]()
    for quarter, presses in quarters:
        local = quarter.astimezone(services.zone)
        days[local.date()] += presses
        hours[local.hour] += presses
    every = [first + timedelta(days=number) for number in range((last - first).days + 1)]
    return reply(
        UseAnswer(
            days=[DayUse(day=day, presses=days[day]) for day in every],
            hours=[HourUse(hour=hour, presses=hours[hour]) for hour in range(24)],
        )
    )


async def _quarters(services: Services, gate: str | None, first: date, last: date) -> Iterable[tuple[datetime, int]]:
    """Presses by quarter of an hour; of every gate's outputs when none is named."""
    since, until = days_as_times(first, last, services.zone)
    gates = [services.gates.gate(gate).gate] if gate else [state.gate for state in services.gates.gates()]
    outputs: dict[str, set[int]] = {}
    for each in gates:
        outputs.setdefault(each.receiver, set()).update(each.outputs)
    found = Counter[datetime]()
    for receiver, numbers in outputs.items():
        wanted = EventFilter(frozenset({EventName.TRANSMITTER_HEARD}), frozenset({receiver}), since, until)
        if numbers:
            found.update(await services.journal.tally(wanted, sorted(numbers)))
    return found.items()


def _number(row: TimelineRow) -> int:
    return int(row.id.rpartition("-")[2])


def _line(services: Services, row: TimelineRow) -> str:
    def when(time: datetime | None) -> str:
        return time.astimezone(services.zone).isoformat(sep=" ", timespec="seconds") if time else ""

    late = row.late
    return csv_line(
        (
            when(row.time),
            when(late.earliest if late else None),
            when(late.latest if late else None),
            row.sentence,
            row.holder or "",
            row.serial or "",
            " ".join(row.gates),
            row.receiver or "",
            row.name,
            row.id,
        )
    )


OPERATIONS = (
    Operation(
        id="listTimeline",
        method="GET",
        path="/api/v1/timeline",
        summary="What happened, in sentences, newest first",
        tag="events",
        scope=Scope.VIEW,
        handler=list_timeline,
        query=TimelineQuery,
        answer=TimelineAnswer,
        problems=("cursor-invalid",),
    ),
    Operation(
        id="exportTimeline",
        method="GET",
        path="/api/v1/timeline/export",
        summary="What happened, as a CSV file for a spreadsheet",
        tag="events",
        scope=Scope.ROSTER,
        handler=export_timeline,
        query=ExportQuery,
        answer_type="text/csv",
    ),
    Operation(
        id="countUse",
        method="GET",
        path="/api/v1/use",
        summary="How often gates are used, by day and by hour",
        tag="gates",
        scope=Scope.VIEW,
        handler=count_use,
        query=UseQuery,
        answer=UseAnswer,
        problems=("not-found",),
    ),
)
