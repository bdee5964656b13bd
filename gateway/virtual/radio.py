"""What is in the air: which transmitter sends on which position, and when a sending is a new press.

A press is the first telegram of a transmitter's position after 300 ms without one of it (our choice); the button
counts as released 300 ms after the last telegram. `press` is a single telegram; `hold` sends until `release`.
Times are monotonic seconds given by the caller.
"""

from __future__ import annotations

import math

__all__ = ["SILENCE_S", "Radio"]

SILENCE_S = 0.3
Button = tuple[int, int]  # serial, position


class Radio:
    """Every sending under way, with the time at which it will count as ended."""

    def __init__(self) -> None:
        self._ends_at: dict[Button, float] = {}

    @property
    def next_due(self) -> float:
        """When the next sending ends."""
        return min(self._ends_at.values(), default=math.inf)

    def elapse(self) -> tuple[Button, float]:
        """End the sending that is due next; which one and when."""
        button = min(self._ends_at, key=lambda key: (self._ends_at[key], key))
        return button, self._ends_at.pop(button)

    def telegram(self, serial: int, position: int, at: float) -> bool:
        """One telegram; True when it is a press."""
        return self._send((serial, position), at + SILENCE_S)

    def hold(self, serial: int, position: int) -> bool:
        """The button goes down and stays so; True when this is a press."""
        return self._send((serial, position), math.inf)

    def release(self, serial: int, position: int, at: float) -> bool:
        """The last telegram of a held button; False when it was not sending."""
        known = (serial, position) in self._ends_at
        if known:
            self._ends_at[serial, position] = at + SILENCE_S
        return known

    def _send(self, button: Button, ends_at: float) -> bool:
        fresh = button not in self._ends_at
        self._ends_at[button] = max(ends_at, self._ends_at.get(button, ends_at))
        return fresh
