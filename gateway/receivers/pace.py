"""How long a plan will take on the wire.

From frame sizes, character time, silences and the receiver's own time. Until a write has been measured, half of
the map's largest answer time is assumed for a write (our choice: the map states the worst case), and a millisecond
for a read; from then on a running average of the writes counts.
"""

from __future__ import annotations

from math import ceil

from gateway.line import Timing
from gateway.receivers.reading import FRAME_BYTES, TURNAROUND_S

__all__ = ["Pace"]

_WRITE_FRAME_BYTES = 9 + 8  # a write of several registers without its data, and its answer (V1.1b3, section 6.12)
_NEWEST_WEIGHT = 0.2


class Pace:
    """The speed of one receiver on its line."""

    def __init__(self, timing: Timing, largest_write_s: float) -> None:
        self._timing = timing
        self._write_s = largest_write_s / 2
        self._measured = False

    def wrote(self, seconds: float, data_bytes: int) -> None:
        """A write of so many data bytes took this long, the wait for its turn included (polls are part of the pace)."""
        own_s = max(0.0, seconds - self._frame_s(_WRITE_FRAME_BYTES + data_bytes))
        weight = _NEWEST_WEIGHT if self._measured else 1.0
        self._write_s += weight * (own_s - self._write_s)
        self._measured = True

    def write_s(self, frames: int, data_bytes: int) -> float:
        """So many write frames with so many data bytes altogether."""
        each_s = self._frame_s(_WRITE_FRAME_BYTES) + self._write_s
        return frames * each_s + self._timing.wire_s(data_bytes)

    def read_s(self, frames: int, data_bytes: int) -> float:
        """So many read frames that bring so many data bytes altogether."""
        return frames * (self._frame_s(FRAME_BYTES) + TURNAROUND_S) + self._timing.wire_s(data_bytes)

    def plan_s(self, slots: int, *, record_bytes: int, head_bytes: int, per_write: int, per_read: int) -> float:
        """Writing so many slots and reading them back."""
        writes, reads = ceil(slots / per_write), ceil(slots / per_read)
        data = slots * record_bytes
        return self.write_s(writes, data + writes * head_bytes) + self.read_s(reads, data)

    def _frame_s(self, count: int) -> float:
        return self._timing.wire_s(count) + 2 * self._timing.silence_s
