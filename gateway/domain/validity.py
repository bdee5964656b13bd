"""When a roster's dates begin and end, in the site's zone.

Pure. A date means the site's own whole day and counts to its end; a datetime means that instant. Rule 7 of the design:
a clock that isn't known to be right decides nothing by date.
"""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from enum import StrEnum
from zoneinfo import ZoneInfo

from gateway.domain.roster import Entry

__all__ = ["Validity", "begins", "ends", "validity"]


class Validity(StrEnum):
    """How a row's dates stand to a moment."""

    NOW = "now"
    NOT_YET = "not-yet"
    OVER = "over"
    UNKNOWN = "unknown"  # it has dates, and the clock can't be believed


def begins(value: date | datetime, zone: ZoneInfo) -> datetime:
    """A datetime is that instant; a date begins with its first moment in the site's zone."""
    return value if isinstance(value, datetime) else datetime.combine(value, time(0), zone)


def ends(value: date | datetime, zone: ZoneInfo) -> datetime:
    """The first instant that is no longer allowed: a date is inclusive, a datetime is that instant."""
    if isinstance(value, datetime):
        return value
    return datetime.max.replace(tzinfo=zone) if value == date.max else begins(value + timedelta(days=1), zone)


def validity(entry: Entry, now: datetime, zone: ZoneInfo, *, trusted: bool) -> Validity:
    """Whether a row counts at this moment."""
    if entry.valid_from is None and entry.valid_until is None:
        return Validity.NOW
    if not trusted:
        return Validity.UNKNOWN
    if entry.valid_until is not None and now >= ends(entry.valid_until, zone):
        return Validity.OVER
    if entry.valid_from is not None and now < begins(entry.valid_from, zone):
        return Validity.NOT_YET
    return Validity.NOW
