"""A typed cell of a spreadsheet to the text that a CSV would hold, and what can't be such a text.

Numbers are floats in every spreadsheet: whole ones are taken exactly, all others are refused, because which digits
somebody typed can't be known. Spreadsheets keep 15 significant digits (IEEE 754 double precision holds every whole
number up to 2^53). A date cell without a time of day is that day; midnight can't be told from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from gateway.roster.cells import Wrong, show

__all__ = ["Cell", "date_cell", "failed_formula", "logical", "number", "time_of_day", "uncalculated", "unknown_type"]

_MAX_EXACT = 10**15
_AS_TEXT = "format the column as text, and type it again"


@dataclass(frozen=True, slots=True)
class Cell:
    """The text of a cell; what is wrong with it, if anything; whether it is a date cell.

    A wrong cell has a text too, so that it doesn't look empty.
    """

    text: str
    wrong: Wrong | None = None
    is_date: bool = False


def number(value: float) -> Cell:
    """A whole number exactly; any other is wrong."""
    if value - value != 0 or not value.is_integer():
        return Cell(repr(value), Wrong(f"the number {value!r}, which is not whole", _AS_TEXT))
    text = str(int(value))
    if abs(value) >= _MAX_EXACT:
        return Cell(text, Wrong(f"the number {show(text)}, whose last digits the spreadsheet has rounded", _AS_TEXT))
    return Cell(text)


def date_cell(moment: date | datetime) -> Cell:
    """A day, or a day and a time to the second: a time is a fraction of a day, so 18:00 may come as 17:59:59.999996."""
    if isinstance(moment, datetime):
        moment = (moment + timedelta(microseconds=500_000)).replace(microsecond=0)
    return Cell(moment.isoformat(), is_date=True)


def time_of_day(text: str) -> Cell:
    """A time or a duration without a day: nothing in a roster is one."""
    return Cell(text or "?", Wrong(f"the time of day or duration {show(text)}", _AS_TEXT))


def logical(value: bool) -> Cell:
    """TRUE or FALSE."""
    text = str(value).upper()
    return Cell(text, Wrong(f"the logical value {text}", _AS_TEXT))


def uncalculated() -> Cell:
    """A formula without its result, as programs write them that don't calculate."""
    remedy = "write the value itself, or open the file in a spreadsheet, let it calculate, and save it"
    return Cell("?", Wrong("a formula without its result", remedy))


def failed_formula(text: str) -> Cell:
    """`#N/A` and the like."""
    found = f"the spreadsheet error {text or '(unnamed)'}"
    return Cell(text or "?", Wrong(found, "correct the formula, or write the value itself"))


def unknown_type(kind: str) -> Cell:
    """A type that the format's standard does not have."""
    return Cell("?", Wrong(f"a cell of an unknown type {show(kind)}", _AS_TEXT))
