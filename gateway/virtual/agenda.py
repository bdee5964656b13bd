"""What is due when, over one alarm: acts in the order of their times, equal times in the order they were put.

With nothing due no timer is set, so an idle receiver costs nothing. Time comes from the clock alone.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Callable

from gateway.clock import Clock

__all__ = ["Agenda"]

Act = Callable[[], None]


class Agenda:
    """Its owner closes it. `broken` is told of what an act raises; without it the loop's own handler is."""

    def __init__(self, clock: Clock, broken: Callable[[BaseException], None] | None = None) -> None:
        self._clock = clock
        self._broken = broken
        self._alarm = clock.alarm(self._ring)
        self._heap: list[tuple[float, int, Act]] = []
        self._order = itertools.count()

    def at(self, when: float, act: Act) -> None:
        """Do `act` when the monotonic clock reaches `when` (seconds)."""
        heapq.heappush(self._heap, (when, next(self._order), act))
        if self._heap[0][0] == when:
            self._alarm.set(when)

    def clear(self) -> None:
        """Forget everything."""
        self._heap.clear()
        self._alarm.cancel()

    def close(self) -> None:
        """Give the alarm back; may be called twice."""
        self._heap.clear()
        self._alarm.close()

    def _ring(self) -> None:
        while self._heap and self._heap[0][0] <= self._clock.monotonic():
            self._do(heapq.heappop(self._heap)[2])
        if self._heap:
            self._alarm.set(self._heap[0][0])

    def _do(self, act: Act) -> None:
        try:
            act()
        except Exception as fault:
            if self._broken is None:
                raise
            self._broken(fault)
