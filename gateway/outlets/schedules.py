"""How long an outlet waits after failures in a row.

`STANDARD_WEBHOOKS` is the schedule of Standard Webhooks 1.0.0 ("Deliverability and reliability"): tries at 0,
5 s, 5 min, 30 min, 2 h, 5 h, 10 h, 14 h, 20 h and 24 h apart; beyond it the last step goes on, for the queue keeps
its order and an endpoint that comes back after a week is still wanted. `ALARM` is the short one of alarm
reporting, where minutes count (common practice, no source). Jitter keeps sites apart that lost the same endpoint at
the same moment.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass

__all__ = ["ALARM", "BROKER", "MAIL", "REJECTED_S", "STANDARD_WEBHOOKS", "Schedule"]

Uniform = Callable[[float, float], float]
_MINUTE, _HOUR = 60.0, 3600.0

#: Between the tries of an event that the endpoint refuses; our choice: short, since the queue waits for it.
REJECTED_S = (5.0, 30.0)


@dataclass(frozen=True, slots=True)
class Schedule:
    """Waits after the first, second, ... failure in seconds; the last one repeats.

    `jitter` is a share of each step, `spread_s` comes on top of every one.
    """

    steps_s: tuple[float, ...]
    jitter: float
    spread_s: float = 0.0

    def delay_s(self, failures: int, uniform: Uniform = random.uniform) -> float:
        """The wait after this many failures in a row (1 and up). Never shorter than the step."""
        step = self.steps_s[min(max(failures, 1), len(self.steps_s)) - 1]
        return step + uniform(0.0, step * self.jitter + self.spread_s)


STANDARD_WEBHOOKS = Schedule(
    (5.0, 5 * _MINUTE, 30 * _MINUTE, 2 * _HOUR, 5 * _HOUR, 10 * _HOUR, 14 * _HOUR, 20 * _HOUR, 24 * _HOUR), 0.2
)
ALARM = Schedule((5.0, 10.0, 20.0, 60.0), 0.1)
#: Hundreds of gateways lose their broker in the same second, and the plan says how widely they come back.
BROKER = Schedule((1.0, 2.0, 5.0, 10.0), 0.3)
MAIL = Schedule((60.0, 5 * _MINUTE, 15 * _MINUTE, _HOUR), 0.2)
