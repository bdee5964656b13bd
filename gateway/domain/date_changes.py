"""When a roster's dates next change something at a site.

Pure. A row changes something at the first moment of `valid_from` and at the first moment after `valid_until`, both in
the site's zone (`validity`); a day there may have 23, 24 or 25 hours. Instants are in UTC, so their order is true.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from gateway.domain.roster import Entry
from gateway.domain.validity import begins, ends

__all__ = ["DateChange", "DateTable"]


@dataclass(frozen=True, slots=True)
class DateChange:
    """One instant, in UTC, and the serials whose rights begin and end at it."""

    time: datetime
    begin: tuple[int, ...]
    end: tuple[int, ...]


class DateTable:
    """Every instant at which rows of this site begin or end, in order."""

    def __init__(self, entries: Iterable[Entry], zone: ZoneInfo, *, site: str) -> None:
        begin: defaultdict[datetime, list[int]] = defaultdict(list)
        end: defaultdict[datetime, list[int]] = defaultdict(list)
        for entry in entries:
            if not _is_here(entry, site):
                continue
            if entry.valid_from is not None:
                begin[_utc(begins(entry.valid_from, zone))].append(entry.serial)
            if entry.valid_until is not None:
                end[_utc(ends(entry.valid_until, zone))].append(entry.serial)
        times = sorted({*begin, *end})
        self._times = times
        self._changes = [
            DateChange(time, tuple(sorted(begin.get(time, ()))), tuple(sorted(end.get(time, ())))) for time in times
        ]

    def next_after(self, time: datetime) -> DateChange | None:
        """The first change later than this; None when dates change nothing any more."""
        place = bisect_right(self._times, time)
        return self._changes[place] if place < len(self._changes) else None

    def between(self, since: datetime, until: datetime) -> tuple[DateChange, ...]:
        """The changes later than `since` and not later than `until`."""
        return tuple(self._changes[bisect_right(self._times, since) : bisect_right(self._times, until)])


def _is_here(entry: Entry, site: str) -> bool:
    return not entry.sites or site.casefold() in (name.casefold() for name in entry.sites)


def _utc(time: datetime) -> datetime:
    """As UTC; the far ends of the calendar stay where they are."""
    try:
        return time.astimezone(UTC)
    except OverflowError:
        return time.replace(tzinfo=UTC)
