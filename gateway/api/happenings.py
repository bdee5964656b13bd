"""Looking through the journal for a timeline: filters that only sentences and gates know, over pages of events.

Names, receivers and days are the store's to filter. Gates and holders are looked for here, and only so many events are
looked through for one page: a rare holder costs several short requests rather than one long one.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from gateway.api.caller_names import called, caller_names
from gateway.api.models.timeline import ExportQuery, LateAnswer, TimelineRow
from gateway.api.services import Services
from gateway.domain.events import Event, EventName
from gateway.domain.gate import Gate
from gateway.domain.story import NAMES_BY_KIND, gates_of, kind_of, tell
from gateway.domain.transmitter import write_serial
from gateway.domain.visibility import visible_data
from gateway.ports import EventFilter

__all__ = ["Looking", "days_as_times"]

_PAGE = 500


@dataclass(frozen=True, slots=True)
class Looking:
    """One search. `personal`: the caller may know who people are."""

    services: Services
    query: ExportQuery
    personal: bool

    async def pages(self, before: int) -> AsyncIterator[tuple[list[TimelineRow], int]]:
        """What fits among the next events, newest first, with the number to go on before; ends with the journal."""
        gates = self._gates()
        wanted = self._wanted(gates)
        while True:
            events = await self.services.journal.read(before, limit=_PAGE, wanted=wanted, newest_first=True)
            if not events:
                return
            before = events[-1].id.number
            yield [row for event in events if (row := self._row(event, gates)) is not None], before
            if len(events) < _PAGE:
                return

    def _by_name(self, data: Mapping[str, Any]) -> Mapping[str, Any]:
        if not data.get("asked_by"):
            return data
        names = caller_names(self.services) if self.personal else {}
        return {**data, "asked_by": called(str(data["asked_by"]), names)}

    def _gates(self) -> tuple[Gate, ...]:
        return tuple(state.gate for state in self.services.gates.gates())

    def _wanted(self, gates: tuple[Gate, ...]) -> EventFilter:
        query = self.query
        names = frozenset[EventName]().union(*(NAMES_BY_KIND[kind] for kind in query.kind))
        receivers = frozenset(
            name for gate in gates if gate.name == query.gate for name in (*gate.receivers, *_contacts_at(gate))
        )
        since, until = days_as_times(query.from_day, query.to_day, self.services.zone)
        return EventFilter(names, receivers, since, until)

    def _row(self, event: Event, gates: tuple[Gate, ...]) -> TimelineRow | None:
        if event.name is EventName.SLOT_CHANGED and event.data.get("origin") == "line":
            return None  # the gateway's own writing, block by block: the plan tells of it
        data = visible_data(event, personal=self.personal)
        about = [gate.name for gate in gates_of(event.name, event.receiver, data, gates)]
        if self.query.gate is not None and self.query.gate not in about:
            return None
        serial, holder = _serial(data.get("serial")), data.get("holder")
        if self.query.who is not None and not _is_about(self.query.who, serial, holder):
            return None
        row = TimelineRow(
            id=str(event.id),
            time=event.time if event.clock_trusted else None,
            late=LateAnswer(earliest=event.late.earliest, latest=event.late.latest) if event.late else None,
            name=event.name,
            kind=kind_of(event.name),
            receiver=event.receiver or None,
            gates=about,
            serial=serial,
            weight=str(data["weight"]) if data.get("weight") else None,
            sentence=tell(event.name, event.receiver, self._by_name(data), gates),
        )
        return row.model_copy(update={"holder": str(holder) if holder else None}) if self.personal else row


def days_as_times(first: date | None, last: date | None, zone: ZoneInfo) -> tuple[datetime | None, datetime | None]:
    """The moments at which the first day begins and the last one ends in this zone."""
    since = datetime.combine(first, time(), zone).astimezone(UTC) if first else None
    until = None
    if last and last < date.max:
        until = datetime.combine(last + timedelta(days=1), time(), zone).astimezone(UTC)
    return since, until


def _contacts_at(gate: Gate) -> list[str]:
    return [contact.receiver for contact in gate.contacts]


def _serial(found: object) -> str | None:
    if isinstance(found, int):
        return write_serial(found)
    return found if isinstance(found, str) and len(found) == 10 and found.isascii() and found.isdigit() else None


def _is_about(who: str, serial: str | None, holder: object) -> bool:
    part = who.strip().casefold()
    return (serial is not None and part in serial) or (isinstance(holder, str) and part in holder.casefold())
