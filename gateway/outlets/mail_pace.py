"""When a mail may go: quiet hours, no flood, and the time of the digest.

Quiet hours are wall-clock times in the site's zone, and may run over midnight; what happens in them waits and goes
out together afterwards, but for what the settings call urgent. At most so many mails in an hour; what comes beyond
them is gathered and goes out as one when the hour is over.

Wall clocks are changed twice a year and corrected at any time: whoever waits by one looks at it again every `LOOK_S`.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta, tzinfo

__all__ = ["LOOK_S", "DailyTime", "HourlyLimit", "QuietHours"]

LOOK_S = 30.0
_HOUR_S = 3600.0
_DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class QuietHours:
    """From `begins` to `ends`, in `zone`. An hour that the wall clock shows twice is quiet twice."""

    begins: time
    ends: time
    zone: tzinfo

    def now(self, now: datetime) -> bool:
        """Whether it is quiet."""
        clock = now.astimezone(self.zone).time().replace(tzinfo=None)
        if self.begins > self.ends:
            return clock >= self.begins or clock < self.ends
        return self.begins <= clock < self.ends


@dataclass(frozen=True, slots=True)
class DailyTime:
    """A time of day in `zone`: once each day, also where the wall clock leaves it out (then as if it did not)."""

    at: time
    zone: tzinfo

    def newest(self, now: datetime) -> datetime:
        """The last one that is not after `now`, in UTC."""
        due = self._on(now)
        return due if due <= now else self._on(now, -1)

    def before(self, due: datetime) -> datetime:
        """The one of the day before: 23, 24 or 25 hours earlier."""
        return self._on(due, -1)

    def _on(self, moment: datetime, days: int = 0) -> datetime:
        day = moment.astimezone(self.zone).date() + days * _DAY
        return datetime.combine(day, self.at, self.zone).astimezone(UTC)


class HourlyLimit:
    """At most `count` in any hour, by a clock that never jumps. Begins anew at each start of the gateway."""

    def __init__(self, count: int) -> None:
        self._count = count
        self._sent: deque[float] = deque()

    def left_s(self, now_s: float) -> float:
        """Seconds until one more may go; 0 when it may now."""
        while self._sent and self._sent[0] <= now_s - _HOUR_S:
            self._sent.popleft()
        return self._sent[0] + _HOUR_S - now_s if len(self._sent) >= self._count else 0.0

    def note(self, now_s: float) -> None:
        """One has gone."""
        self._sent.append(now_s)
