"""When can something that was found late have happened?

Pure. A ring entry carries the receiver's uptime; the status read with it says what the uptime is now, in whole
seconds. From both follows how long ago the entry was made, with an uncertainty of that second, of the time the
reading took, and of the receiver's clock. What has no uptime lies between the last good poll and now.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from gateway.domain.events import Span

__all__ = ["Reading"]

#: How far a board's crystal may be off; our choice, wide enough for cheap ones over a whole temperature range.
CLOCK_ERROR = 200e-6
#: In what steps a ring entry may count its uptime (docs/register-map.md, field `uptime` of the ring).
UPTIME_STEP_S = 0.1


@dataclass(frozen=True, slots=True)
class Reading:
    """One look at a receiver: wall time and duration of the look, uptime it found, seconds since the look before.

    `since_last_s` is None when there was none since the start; `not_before` is then the time of the last event told.
    """

    end: datetime
    took_s: float
    uptime_s: int | None
    since_last_s: float | None
    not_before: datetime | None = None

    def of_uptime(self, uptime_s: float) -> Span:
        """The span of something that the receiver did at this uptime of its present run."""
        if self.uptime_s is None:
            return self.of_gap()
        age = max(0.0, self.uptime_s - uptime_s)
        slack = age * CLOCK_ERROR + UPTIME_STEP_S
        earliest = self.end - timedelta(seconds=max(0.0, self.uptime_s + 1 - uptime_s) + slack + self.took_s)
        return Span(earliest, max(earliest, self.end - timedelta(seconds=max(0.0, age - slack))))

    def of_gap(self) -> Span:
        """The span of something that only the difference between two looks shows."""
        if self.since_last_s is not None:
            return Span(self.end - timedelta(seconds=self.since_last_s), self.end)
        if self.not_before is not None:
            return Span(min(self.not_before, self.end), self.end)
        return Span(self.end - timedelta(seconds=(self.uptime_s or 0) + 1 + self.took_s), self.end)
