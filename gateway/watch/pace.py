"""How often one receiver is polled.

At most the rate that the settings ask for, and at most a fair share of 40 % of its line (rule 13). What a poll
costs the line is taken to be the shortest of the last few: longer ones have waited for somebody else's frame.
Receivers that don't answer are probed rarely and don't count as sharers.
"""

from __future__ import annotations

from collections import deque

__all__ = ["LINE_SHARE", "LineShare", "Pace"]

LINE_SHARE = 0.4
_REMEMBERED = 8


class LineShare:
    """The receivers of one line that are polled at their full rate now."""

    def __init__(self) -> None:
        self._active: set[str] = set()

    def set_active(self, receiver: str, active: bool) -> None:
        if active:
            self._active.add(receiver)
        else:
            self._active.discard(receiver)

    @property
    def sharers(self) -> int:
        """How many share the line, at least one."""
        return max(1, len(self._active))


class Pace:
    """The interval between one receiver's polls, and the rate that was reached."""

    def __init__(self, rate_hz: float, share: LineShare) -> None:
        self._shortest_s = 1.0 / rate_hz
        self._share = share
        self._costs: deque[float] = deque(maxlen=_REMEMBERED)
        self._starts: deque[float] = deque(maxlen=_REMEMBERED)

    def polled(self, started: float, ended: float) -> None:
        """A poll that got its answer, in monotonic seconds."""
        self._costs.append(ended - started)
        self._starts.append(started)

    def broken(self) -> None:
        """Polling was interrupted: the rate is reckoned anew."""
        self._starts.clear()

    @property
    def interval_s(self) -> float:
        """Seconds between the starts of two polls."""
        cost = min(self._costs, default=0.0)
        return max(self._shortest_s, cost * self._share.sharers / LINE_SHARE)

    @property
    def reached_hz(self) -> float:
        """The rate of the last polls; 0 before there are two."""
        if len(self._starts) < 2 or self._starts[-1] <= self._starts[0]:
            return 0.0
        return (len(self._starts) - 1) / (self._starts[-1] - self._starts[0])
