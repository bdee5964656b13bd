"""The board's own buttons: learn, unlearn, time, reset.

Each gesture waits for a transmitter. Words for people: `waiting` (press the transmitter now), `heard` (the time
is running; press again to end it), `saved`, `refused` with the reason. Rules: docs/register-map.md,
"At the board". Times are monotonic seconds given by the caller.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from gateway.virtual.memory import Memory
from gateway.virtual.refusals import Refusal
from gateway.virtual.slot_form import Record

__all__ = ["WAIT_S", "Board", "BoardChange", "Gesture"]

WAIT_S = 60.0  # our choice: how long the board waits for a transmitter


class Gesture(StrEnum):
    """What the installer asks the board for."""

    LEARN = "learn"
    UNLEARN = "unlearn"
    TIME = "time"


@dataclass(frozen=True, slots=True)
class BoardChange:
    """What a gesture changed: a slot (`slot` above 0) with its pair, or an output's on-time."""

    slot: int = 0
    serial: int = 0
    position: int = 0
    output: int = 0
    on_time_s: int = 0


class Board:
    """`changed` is told of every change, `refused` of every reason with the time."""

    def __init__(
        self,
        memory: Memory,
        changed: Callable[[BoardChange, float], None],
        refused: Callable[[str, float], None],
    ) -> None:
        self._memory = memory
        self._tell_change = changed
        self._tell_refusal = refused
        self._gesture: Gesture | None = None
        self._output = 0
        self._timing_serial = 0
        self._timing_from = 0.0
        self.next_due = math.inf
        self.word = "idle"

    def begin(self, gesture: Gesture, output: int, at: float) -> str:
        """Start a gesture for an output; another one that was waiting is given up."""
        self.cancel()
        if not self._memory.local_programming:
            return self._end_refused("board-locked", at)
        self._gesture, self._output = gesture, output
        self._timing_serial = 0
        self.next_due = at + WAIT_S
        self.word = "waiting"
        return self.word

    def cancel(self) -> None:
        """Give up what was waiting; nothing changes."""
        self._gesture = None
        self.next_due = math.inf
        self.word = "idle"

    def heard(self, serial: int, position: int, at: float) -> str:
        """A press came. The word that the board answers with; empty when the press is not for it."""
        if self._gesture is None or (self._timing_serial and serial != self._timing_serial):
            return ""
        if not self._memory.local_programming:
            return self._end_refused("board-locked", at)
        try:
            if self._gesture is Gesture.TIME:
                return self._time(serial, at)
            self._write_pair(serial, position, at)
        except Refusal as refusal:
            return self._end_refused(refusal.reason, at)
        return self._end_saved()

    def _write_pair(self, serial: int, position: int, at: float) -> None:
        number = self._memory.find(serial)
        record: Record | None
        if self._gesture is Gesture.LEARN:
            number, record = self._with_pair(number, serial, position)
        elif number is None:
            raise Refusal("unknown-transmitter")
        else:
            record = self._without_pair(number, position)
        if self._memory.write_slots([(number, record)]):
            self._tell_change(BoardChange(number, serial, position, self._output), at)

    def _with_pair(self, number: int | None, serial: int, position: int) -> tuple[int, Record]:
        form = self._memory.form
        if number is None:
            number = self._memory.lowest_free()
            if number is None:
                raise Refusal("memory-full")
            groups = [frozenset[int]()] * form.positions
            groups[position - 1] = frozenset({self._output})
            return number, form.new(number, serial, tuple(groups))
        old = self._memory.slots[number]
        groups = list(old.outputs)
        groups[position - 1] |= {self._output}
        record = form.with_outputs(old, tuple(groups))
        assert record is not None
        return number, record

    def _without_pair(self, number: int, position: int) -> Record | None:
        old = self._memory.slots[number]
        groups = list(old.outputs)
        groups[position - 1] -= {self._output}
        return self._memory.form.with_outputs(old, tuple(groups))

    def _time(self, serial: int, at: float) -> str:
        limits = self._memory.limits
        if self._memory.find(serial) is None:
            raise Refusal("unknown-transmitter")
        if not self._timing_serial:
            self._timing_serial, self._timing_from = serial, at
            self.next_due = at + limits.on_time_max_s + 1
            self.word = "heard"
            return self.word
        whole = math.floor(at - self._timing_from + 0.5)
        seconds = min(max(whole, limits.on_time_min_s), limits.on_time_max_s)
        times = list(self._memory.on_times_s)
        times[self._output - 1] = seconds
        if self._memory.set_settings(times, self._memory.local_programming):
            self._tell_change(BoardChange(output=self._output, on_time_s=seconds), at)
        return self._end_saved()

    def _end_saved(self) -> str:
        self.cancel()
        self.word = "saved"
        return self.word

    def _end_refused(self, reason: str, at: float) -> str:
        self.cancel()
        self._tell_refusal(reason, at)
        self.word = f"refused {reason}"
        return self.word
