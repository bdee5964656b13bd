"""When a mail may go: quiet hours and no flood.

Quiet hours are wall-clock times in the site's zone, and may run over midnight; what happens in them waits and goes
out together afterwards, but for what the settings call urgent. At most so many mails in an hour; what comes beyond
them is gathered and goes out as one when the hour is over.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta, tzinfo

__all__ = ["HourlyLimit", "QuietHours"]

_HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class QuietHours:
    """From `begins` to `ends`, in `zone`."""

    begins: time
    ends: time
    zone: tzinfo

    def left_s(self, now: datetime) -> float:
        """Seconds until they are over; 0 outside of them."""
        local = now.astimezone(self.zone)
        clock = local.time().replace(tzinfo=None)
        over_midnight = self.begins > self.ends
        inside = (clock >= self.begins or clock < self.ends) if over_midnight else self.begins <= clock < self.ends
        if not inside:
            return 0.0
        day = local.date() + timedelta(days=1 if clock >= self.ends else 0)
        end = datetime.combine(day, self.ends, self.zone)
        return max(1.0, (end.astimezone(UTC) - now).total_seconds())


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
