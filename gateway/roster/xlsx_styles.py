"""XLSX: which cells are dates, which the number format alone tells, and what day a number is.

Source: ECMA-376 Part 1, 18.8.30 (built-in formats 14 to 22 and 45 to 47 are dates and times; 27 to 36 and 50 to 58 are
in East Asian locales), 18.8.31 (format codes: quotes, backslashes, brackets), 18.17.4 (serial dates; 1900 counts from
1899-12-30 for every day since March 1900).
"""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta

from gateway.roster.cell_values import Cell, date_cell, number, time_of_day
from gateway.roster.xml_events import read_xml

__all__ = ["DateFormats", "day_number", "read_styles"]

_BUILT_IN = frozenset((*range(14, 23), *range(27, 37), *range(45, 48), *range(50, 59)))
_ELAPSED = re.compile(r"\[(h+|m+|s+)\]", re.IGNORECASE)
_NOT_A_CODE = re.compile(r'"[^"]*"|\\.|_.|\*.|\[[^\]]*\]')
_DATE_LETTERS = re.compile(r"[dmyhs]", re.IGNORECASE)
_LAST_DAY = 2_958_465  # 9999-12-31


class DateFormats:
    """The events of `styles.xml`: `dates` are the numbers of cell formats that show a date or a time."""

    def __init__(self) -> None:
        self.dates: set[int] = set()
        self._codes: dict[str, str] = {}
        self._in_cell_formats = False
        self._count = 0

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name == "numFmt":
            self._codes[attributes.get("numFmtId", "")] = attributes.get("formatCode", "")
        elif name == "cellXfs":
            self._in_cell_formats = True
        elif name == "xf" and self._in_cell_formats:
            if self._is_date(attributes.get("numFmtId", "0")):
                self.dates.add(self._count)
            self._count += 1

    def end(self, name: str) -> None:
        if name == "cellXfs":
            self._in_cell_formats = False

    def text(self, text: str) -> None: ...

    def _is_date(self, format_id: str) -> bool:
        if format_id in self._codes:
            code = self._codes[format_id]
            return bool(_ELAPSED.search(code) or _DATE_LETTERS.search(_NOT_A_CODE.sub("", code)))
        return format_id.isdigit() and len(format_id) < 5 and int(format_id) in _BUILT_IN


def read_styles(data: bytes) -> frozenset[int]:
    """The numbers of the cell formats (`s` of a cell) that show dates or times. Raises Unreadable."""
    formats = DateFormats()
    read_xml(data, "xl/styles.xml", formats)
    return frozenset(formats.dates)


def day_number(value: float, from_1904: bool) -> Cell:
    """What a number in a date format is: a day, a day and a time, or only a time."""
    if not 0 <= value <= _LAST_DAY:
        return number(value)
    if value < 1:
        return time_of_day(str(timedelta(seconds=round(value * 86_400))))
    day = (date(1904, 1, 1) if from_1904 else date(1899, 12, 30)) + timedelta(days=int(value))
    if value.is_integer():
        return date_cell(day)
    return date_cell(datetime(day.year, day.month, day.day) + timedelta(days=value - int(value)))
