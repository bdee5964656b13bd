"""`valid_from` and `valid_until`: ISO dates and times in the site's zone.

A date means the site's own whole day. A time without an offset is the site's wall time; where a clock change
makes it happen twice or not at all it is refused, with what to write instead. Dates in any other order are
refused too: `01/02/2026` has two readings, and even where only one is possible the file would then change its
meaning from row to row. Sources: ISO 8601-1:2019 (extended calendar date, time of day), RFC 3339 section 5.6
(a blank may stand for the T). This file reads no clock.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from gateway.roster.cells import Wrong, show

__all__ = ["ends_before_it_starts", "read_date", "starts_a_day"]

FIRST_YEAR, LAST_YEAR = 2000, 2199  # our choice: outside lie typing errors and "for ever", which is an empty cell
_FORM = "write a date as 2026-10-31 or a time as 2026-10-31T18:00"
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_TIME = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})[Tt ]([0-9]{2}:[0-9]{2})(:[0-9]{2})?([.,]0+)? ?(Z|z|[+-][0-9]{2}:?[0-9]{2})?"
)
_CLOCK = r"(?:[ T](?P<clock>[0-9]{2}:[0-9]{2})(?::[0-9]{2})?)?"
_YEAR_LAST = re.compile(r"([0-9]{1,2})([./-])([0-9]{1,2})\2([0-9]{4}|[0-9]{2})" + _CLOCK)
_YEAR_FIRST = re.compile(r"([0-9]{4})([./-]?)([0-9]{2}|(?<=[./-])[0-9])\2([0-9]{2}|(?<=[./-])[0-9])" + _CLOCK)
_DAY_NUMBER = re.compile(r"[0-9]{5}([.,][0-9]+)?")


def read_date(text: str, zone: ZoneInfo) -> date | datetime | Wrong:
    """A date, or an aware UTC datetime; ISO 8601 only."""
    text = text.removeprefix("'")
    if _DATE.fullmatch(text):
        return _date(text)
    if match := _TIME.fullmatch(text):
        return _time(text, match, zone)
    return _refusal(text)


def _date(text: str) -> date | Wrong:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return Wrong(f"{show(text)}, a day that does not exist", _FORM)
    if FIRST_YEAR <= day.year <= LAST_YEAR:
        return day
    return Wrong(
        f"{show(text)}, outside the years {FIRST_YEAR} to {LAST_YEAR}",
        "leave the cell empty for no limit, or write the right year",
    )


def _time(text: str, match: re.Match[str], zone: ZoneInfo) -> datetime | Wrong:
    day_text, minutes, seconds, _, offset = match.groups()
    day = _date(day_text)
    if isinstance(day, Wrong):
        return day
    try:
        moment = datetime.fromisoformat(f"{day_text}T{minutes}{seconds or ''}{(offset or '').upper()}")
    except ValueError:
        return Wrong(f"{show(text)}, a time that does not exist", f"{_FORM}, from 00:00 to 23:59")
    return moment.astimezone(UTC) if moment.tzinfo else _in_zone(text, moment, zone)


def _in_zone(text: str, wall: datetime, zone: ZoneInfo) -> datetime | Wrong:
    """The instant of a wall time, unless the clock change makes it two or none (PEP 495)."""
    first, second = (wall.replace(tzinfo=zone, fold=fold) for fold in (0, 1))
    if first.utcoffset() == second.utcoffset():
        return first.astimezone(UTC)
    if first.astimezone(UTC).astimezone(zone).replace(tzinfo=None) == wall:
        return Wrong(
            f"{show(text)}, which happens twice in {zone.key} because the clock is put back",
            f"write {first.isoformat()} for the first or {second.isoformat()} for the second",
        )
    moved = first.astimezone(UTC).astimezone(zone)
    return Wrong(
        f"{show(text)}, which never happens in {zone.key} because the clock is put forward",
        f"write {moved.isoformat()}, if that is meant",
    )


def _refusal(text: str) -> Wrong:
    readings = _readings(text)
    if readings:
        choice = " or ".join(readings)
        return Wrong(f"the date {show(text)}", f"write {choice}{', whichever is meant' if readings[1:] else ''}")
    if _DAY_NUMBER.fullmatch(text):
        days = int(text[:5])
        both = [(epoch + timedelta(days=days)).isoformat() for epoch in (date(1899, 12, 30), date(1904, 1, 1))]
        return Wrong(
            f"the day number {show(text)} of a spreadsheet",
            f"write the date itself: {both[0]}, or {both[1]} if the spreadsheet counts from 1904",
        )
    return Wrong(f"{show(text)}, which is no ISO date", _FORM)


def _readings(text: str) -> list[str]:
    """Every day (and time) that a date in another order can mean, as ISO dates."""
    if match := _YEAR_FIRST.fullmatch(text):
        candidates = [(match[1], match[3], match[4])]
    elif match := _YEAR_LAST.fullmatch(text):
        year = match[4] if len(match[4]) == 4 else f"20{match[4]}"
        candidates = [(year, match[3], match[1]), (year, match[1], match[3])]
    else:
        return []
    clock = f"T{match['clock']}" if match["clock"] else ""
    days: list[str] = []
    for year, month, day in candidates:
        iso = f"{year}-{int(month):02d}-{int(day):02d}"
        if isinstance(_date(iso), date) and iso + clock not in days:
            days.append(iso + clock)
    return days


def starts_a_day(limit: date | datetime, zone: ZoneInfo) -> bool:
    """Whether this is a time, and the very start of a day: what a spreadsheet makes of a plain date."""
    if not isinstance(limit, datetime):
        return False
    local = limit.astimezone(zone)
    return (local.hour, local.minute, local.second) == (0, 0, 0)


def ends_before_it_starts(start: date | datetime, end: date | datetime, zone: ZoneInfo) -> bool:
    """Whether nothing lies between the two; a date as an end includes its whole day."""
    return _instant(end, zone, days=1) <= _instant(start, zone, days=0)


def _instant(limit: date | datetime, zone: ZoneInfo, days: int) -> datetime:
    if isinstance(limit, datetime):
        return limit
    midnight = datetime(limit.year, limit.month, limit.day, tzinfo=zone) + timedelta(days=days)
    return midnight.astimezone(UTC)
