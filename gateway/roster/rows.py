"""From the rows of a table to the entries of a roster: every rule that a single row must keep.

All faults of all rows are found in one pass. A row with a fault makes no entry, and its serial still counts
when the next rows are looked at.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import TypeVar
from zoneinfo import ZoneInfo

from gateway.domain.roster import Entry, Right
from gateway.domain.spreadsheet import unguard
from gateway.domain.transmitter import Kind
from gateway.roster.cells import Wrong, clean, show
from gateway.roster.columns import Header
from gateway.roster.dates import ends_before_it_starts, read_date, starts_a_day
from gateway.roster.findings import Findings
from gateway.roster.groups import Groups
from gateway.roster.names import Names, ReceiverNames
from gateway.roster.rights import read_name, read_rights
from gateway.roster.serials import read_serial
from gateway.roster.table import Row

__all__ = ["RowReader"]

_T = TypeVar("_T")
_FREE_TEXT = ("holder", "note")
_MAY_BE_DATES = ("valid_from", "valid_until", "note")
_AS_TEXT = "format the column as text, and type it again"


@dataclass(frozen=True, slots=True)
class _Seen:
    """Where a serial stood first, and with what."""

    row: int
    cells: Mapping[str, str]


class RowReader:
    """Reads row after row of one file."""

    def __init__(
        self, header: Header, groups: Groups, receivers: ReceiverNames, zone: ZoneInfo, findings: Findings
    ) -> None:
        self._header = header
        self._groups = groups
        self._receivers = receivers
        self._zone = zone
        self._findings = findings
        self._group_names = Names(groups.groups)
        self._kind_names = Names(groups.kinds)
        self._seen: dict[int, _Seen] = {}

    def read(self, row: Row) -> Entry | None:
        """The row's entry; None when it has a fault or repeats an earlier row word for word."""
        texts = self._texts(row)
        reading = _RowReading(row.number, self._findings)
        serial = reading.take("serial", read_serial(texts["serial"])) if "serial" in texts else None
        if serial is not None and self._repeats(serial, row.number, texts, reading):
            return None
        if "holder" in texts and not texts["holder"]:
            reading.fault("holder", Wrong("no holder", "write who carries the transmitter, by name or by a label"))
        kind = self._kind(texts.get("kind", ""), reading)
        group, rights = self._rights(texts, kind, reading)
        start, end = self._validity(texts, reading)
        sites = self._sites(texts.get("sites", ""), reading)
        if reading.faulty or serial is None or len(texts) < len(self._header.index):
            return None
        return Entry(
            row.number,
            serial,
            texts.get("holder", ""),
            kind.name,
            group,
            rights,
            sites,
            start,
            end,
            texts.get("note", ""),
        )

    def _texts(self, row: Row) -> dict[str, str]:
        """The cleaned cells of the known columns; those that can't be cleaned are reported and left out."""
        texts: dict[str, str] = {}
        for name, place in self._header.index.items():
            raw = row.cells[place] if place < len(row.cells) else ""
            cleaned = row.wrong.get(place) or clean(raw)
            if place in row.dates and name not in _MAY_BE_DATES:
                cleaned = Wrong(f"a date cell, {show(raw)}, which the spreadsheet made of what was typed", _AS_TEXT)
            if isinstance(cleaned, Wrong):
                self._findings.fault(row.number, name, cleaned)
            else:
                texts[name] = unguard(cleaned) if name in _FREE_TEXT else cleaned.removeprefix("'")
        return texts

    def _repeats(self, serial: int, number: int, texts: dict[str, str], reading: _RowReading) -> bool:
        """Whether this serial stood before. Two rows that say the same have one reading: the row is kept once."""
        first = self._seen.setdefault(serial, _Seen(number, texts))
        if first.row == number:
            return False
        found = f"the serial {serial:010d}, which stands in row {first.row} too"
        same = {**texts, "serial": ""} == {**first.cells, "serial": ""}
        if same:
            reading.warn("serial", Wrong(f"{found}, with the same text", f"leave out row {number}; it counts once"))
            return True
        holder = first.cells.get("holder", "")
        remedy = f"keep one of the two rows (row {first.row} says {show(holder)}); a transmitter has one holder"
        reading.fault("serial", Wrong(found, remedy))
        return False

    def _kind(self, text: str, reading: _RowReading) -> Kind:
        name = self._kind_names.find(text or "any")
        if name is not None:
            return self._groups.kinds[name]
        if self._groups.readable:
            near = self._kind_names.near(text)
            remedy = f"write one of {', '.join(self._groups.kinds)}{near}, or add [kinds.{text}] to the groups file"
            reading.fault("kind", Wrong(f"the kind {show(text)}, which does not exist", remedy))
        return self._groups.kinds["any"]

    def _rights(self, texts: dict[str, str], kind: Kind, reading: _RowReading) -> tuple[str, tuple[Right, ...]]:
        """The group's name, and the rights that count: the row's own, else the group's."""
        group = self._group(texts.get("group", ""), reading)
        own = texts.get("rights", "")
        if own:
            return group, self._within_kind(self._own_rights(own, reading), kind, "rights", reading)
        if group:
            return group, self._within_kind(self._groups.groups.get(group, ()), kind, "group", reading)
        columns = self._header.index.keys() & {"group", "rights"}
        if columns and columns <= texts.keys() and not texts.get("group"):
            remedy = "write a group, or rights such as 1:slip-gate/gate"
            reading.fault("group" if "group" in columns else "rights", Wrong("neither a group nor rights", remedy))
        return group, ()

    def _group(self, text: str, reading: _RowReading) -> str:
        name = self._group_names.find(text) if text else ""
        if name is not None:
            return name
        if not self._groups.given:
            remedy = "name the groups file beside the roster, or write rights instead of a group"
            reading.fault("group", Wrong(f"the group {show(text)} without a groups file", remedy))
        elif self._groups.readable:
            near = self._group_names.near(text)
            remedy = f"correct the name{near}, or add [groups.{text}] to the groups file"
            reading.fault("group", Wrong(f"the group {show(text)}, which does not exist", remedy))
        return ""

    def _own_rights(self, text: str, reading: _RowReading) -> tuple[Right, ...]:
        rights, wrongs = read_rights(text)
        for wrong in wrongs:
            reading.fault("rights", wrong)
        resolved: list[Right] = []
        for right in rights:
            known, wrong_name, is_fault = self._receivers.resolve(right)
            resolved.append(known)
            if wrong_name is not None:
                (reading.fault if is_fault else reading.warn)("rights", wrong_name)
        return tuple(sorted(set(resolved)))

    def _within_kind(
        self, rights: tuple[Right, ...], kind: Kind, column: str, reading: _RowReading
    ) -> tuple[Right, ...]:
        """The rights that this kind of transmitter, and each receiver, has a position for."""
        kept: list[Right] = []
        for right in rights:
            number = kind.number_of(right.position)
            if number is not None and number <= self._receivers.positions(right.receiver):
                kept.append(right)
        left_out = [right for right in rights if right not in kept]
        if left_out:
            names = " ".join(f"{right.position}:{right.receiver}/{right.output}" for right in left_out)
            rest = "" if kept else "; nothing is left for this transmitter"
            remedy = f"left out{rest}; correct the kind if the transmitter has more positions"
            found = f"rights beyond the positions of {show(kind.name)} ({' '.join(kind.positions)}): {names}"
            reading.warn(column, Wrong(found, remedy))
        return tuple(kept)

    def _validity(
        self, texts: dict[str, str], reading: _RowReading
    ) -> tuple[date | datetime | None, date | datetime | None]:
        limits: list[date | datetime | None] = []
        for column in ("valid_from", "valid_until"):
            text = texts.get(column, "")
            limits.append(reading.take(column, read_date(text, self._zone)) if text else None)
        start, end = limits
        if start is not None and end is not None and ends_before_it_starts(start, end, self._zone):
            found = f"{show(texts['valid_until'])}, before valid_from {show(texts['valid_from'])}"
            reading.fault("valid_until", Wrong(found, "exchange the two, or correct the wrong one"))
        elif end is not None and starts_a_day(end, self._zone):
            day = end.astimezone(self._zone).date() if isinstance(end, datetime) else end
            found = f"{show(texts['valid_until'])}, which ends at the very start of that day"
            reading.warn("valid_until", Wrong(found, f"write {day} if the whole day is meant"))
        return start, end

    def _sites(self, text: str, reading: _RowReading) -> tuple[str, ...]:
        sites: set[str] = set()
        for part in text.split():
            name = read_name(part)
            if isinstance(name, Wrong):
                remedy = "write site names with blanks between, as the gateways' settings have them"
                reading.fault("sites", Wrong(f"the site {show(part)}", remedy))
            else:
                sites.add(name)
        return tuple(sorted(sites))


class _RowReading:
    """The findings of one row, and whether any of them is a fault."""

    def __init__(self, row: int, findings: Findings) -> None:
        self._row = row
        self._findings = findings
        self.faulty = False

    def fault(self, column: str, wrong: Wrong) -> None:
        self.faulty = True
        self._findings.fault(self._row, column, wrong)

    def warn(self, column: str, wrong: Wrong) -> None:
        self._findings.warn(self._row, column, wrong)

    def take(self, column: str, value: _T | Wrong) -> _T | None:
        """The value; None, and a fault, when it is wrong."""
        if isinstance(value, Wrong):
            self.fault(column, value)
            return None
        return value
