"""The relays: what a press, a request or time does to each by its mode.

`latching` toggles with every press; `timed` closes for its on-time, and a press meanwhile starts that time again;
`momentary` is closed while a button that works it is held. All relays are open at a start, and turning a mode selector
opens its relay. Times are monotonic seconds given by the caller. Rules: docs/register-map.md, "Output rules".
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from gateway.domain.receiver import Origin, OutputMode
from gateway.virtual.memory import Memory

__all__ = ["Cause", "Outputs"]


@dataclass(frozen=True, slots=True)
class Cause:
    """Why a relay moves, as its event tells it."""

    origin: Origin
    serial: int = 0
    slot: int = 0
    position: int = 0


_ITSELF = Cause(Origin.BOARD)
Button = tuple[int, int]  # serial, position


class Outputs:
    """`moved(output, closed, cause, at)` is called for every relay that moves."""

    def __init__(self, memory: Memory, moved: Callable[[int, bool, Cause, float], None]) -> None:
        self._memory = memory
        self._moved = moved
        self.closed = [False] * memory.limits.outputs
        self._opens_at: dict[int, float] = {}
        self._held: dict[int, set[Button]] = {}

    @property
    def next_due(self) -> float:
        """When the next relay opens by itself."""
        return min(self._opens_at.values(), default=math.inf)

    def elapse(self, now: float) -> None:
        """Open the relay whose time is over; the others of the same moment are left to further calls."""
        output = min(self._opens_at, key=lambda number: (self._opens_at[number], number))
        at = self._opens_at[output]
        if at <= now:
            del self._opens_at[output]
            if not self._held.get(output):
                self._move(output, False, _ITSELF, at)

    def press(self, output: int, cause: Cause, at: float) -> None:
        """A button that works this output was pressed."""
        mode = self._memory.modes[output - 1]
        if mode is OutputMode.LATCHING:
            self._move(output, not self.closed[output - 1], cause, at)
            return
        if mode is OutputMode.TIMED:
            self._opens_at[output] = at + self._memory.on_times_s[output - 1]
        else:
            self._held.setdefault(output, set()).add((cause.serial, cause.position))
        self._move(output, True, cause, at)

    def release(self, serial: int, position: int, at: float) -> None:
        """A button is no longer held; momentary outputs that nothing else keeps closed open."""
        for output, buttons in self._held.items():
            if (serial, position) in buttons:
                buttons.remove((serial, position))
                if not buttons and output not in self._opens_at:
                    self._move(output, False, Cause(Origin.RADIO, serial, 0, position), at)

    def close_for(self, output: int, duration_s: float, at: float) -> None:
        """One closure asked for on the line; its end is timed here."""
        self._opens_at[output] = at + duration_s
        self._move(output, True, Cause(Origin.LINE), at)

    def selector_turned(self, output: int, at: float) -> None:
        """The mode is another one now: open, and nothing goes on."""
        self._opens_at.pop(output, None)
        self._held.pop(output, None)
        self._move(output, False, _ITSELF, at)

    def _move(self, output: int, closed: bool, cause: Cause, at: float) -> None:
        if self.closed[output - 1] != closed:
            self.closed[output - 1] = closed
            self._moved(output, closed, cause, at)
