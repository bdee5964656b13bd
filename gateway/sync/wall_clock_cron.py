"""Rules for due times: a cron expression that survives clock changes, and a plain interval.

APScheduler supplies the cron fields only. Its own trigger misses the day after a spring change, runs twice in the
repeated hour, and takes `0` for Monday; so the fields are matched against wall time without a zone, and each match is
turned into one instant here: a match that the spring gap swallowed moves forward, a match that comes twice counts once.
Matches that become the same instant are one due time.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from apscheduler.triggers.base import BaseTrigger
from apscheduler.triggers.cron import CronTrigger

from gateway.errors import SettingsFault

__all__ = ["Every", "WallClockCron", "parse_rule"]

_INTERVAL = re.compile(r"every\s+(\d+)\s*(s|min|h)", re.IGNORECASE)
_UNITS = {"s": 1, "min": 60, "h": 3600}
_LONGEST_GAP = timedelta(hours=2)
"""More than any clock change of the tz database since 2000 moves the clock within a day, but for whole skipped days."""
SHORTEST_EVERY_S = 10


@dataclass(frozen=True, slots=True)
class Every:
    """A plain interval on monotonic time."""

    seconds: int


class WallClockCron(BaseTrigger):  # type: ignore[misc]  # APScheduler has no types
    """Fires once for each wall-clock match in a zone; a match inside the spring gap moves forward."""

    def __init__(self, expression: str, zone: ZoneInfo) -> None:
        """Raises SettingsFault when the expression isn't one, or could be read in two ways."""
        _check(expression)
        try:
            self._cron = CronTrigger.from_crontab(expression, timezone=UTC)
        except (ValueError, KeyError) as fault:
            raise _fault(expression, f"it can't be read: {fault}") from fault
        self._zone = zone

    def get_next_fire_time(self, previous_fire_time: datetime | None, now: datetime) -> datetime | None:
        """APScheduler's question: the first instant (UTC) from `now` on and after the previous one."""
        floor = now.astimezone(UTC)
        if previous_fire_time is not None:
            floor = max(floor, previous_fire_time.astimezone(UTC) + timedelta(microseconds=1))
        return self._first(floor)

    def next_after(self, time: datetime) -> datetime | None:
        """The first instant (UTC) after this one."""
        return self._first(time.astimezone(UTC) + timedelta(microseconds=1))

    def _first(self, floor: datetime) -> datetime | None:
        """Matches are tried in the order of wall time, which near a gap isn't the order of instants."""
        wall = floor.astimezone(self._zone).replace(tzinfo=UTC, fold=0) - _LONGEST_GAP
        best: datetime | None = None
        match = self._match(wall)
        while match is not None:
            instant = match.replace(tzinfo=self._zone).astimezone(UTC)
            if best is not None and match > best.astimezone(self._zone).replace(tzinfo=UTC, fold=0):
                return best
            if instant >= floor and (best is None or instant < best):
                best = instant
                if not self._is_moved(match, instant):
                    return best
            match = self._match(match + timedelta(seconds=1))
        return best

    def _match(self, wall: datetime) -> datetime | None:
        found: Any = self._cron.get_next_fire_time(None, wall)
        return found if isinstance(found, datetime) else None

    def _is_moved(self, match: datetime, instant: datetime) -> bool:
        return instant.astimezone(self._zone).replace(tzinfo=None) != match.replace(tzinfo=None)


def parse_rule(text: str, zone: ZoneInfo) -> WallClockCron | Every:
    """ "every 15 min", or five cron fields. Raises SettingsFault with what to write instead."""
    interval = _INTERVAL.fullmatch(text.strip())
    if interval is None:
        return WallClockCron(text, zone)
    seconds = int(interval[1]) * _UNITS[interval[2].lower()]
    if seconds < SHORTEST_EVERY_S:
        raise _fault(text, f"an interval is at least {SHORTEST_EVERY_S} s")
    return Every(seconds)


def _check(expression: str) -> None:
    fields = expression.split()
    if len(fields) != 5:
        raise _fault(expression, f"it has {len(fields)} fields, and cron has 5")
    if any(letter.isdigit() for letter in fields[4]):
        raise _fault(expression, "weekdays are written as names (mon ... sun), since numbers mean different days to "
                                 "different programs")  # fmt: skip
    if fields[2] != "*" and fields[4] != "*":
        raise _fault(expression, "a day of the month together with a weekday means different days to different "
                                 "programs")  # fmt: skip


def _fault(text: str, why: str) -> SettingsFault:
    return SettingsFault(
        f"The timetable {text!r} can't be used: {why}.",
        remedy='Write "every 15 min", or five fields: minute, hour, day, month, weekday, such as "30 2 * * mon-fri".',
    )
