"""Which failures of an application are waited out, how long, and when it is over.

A line that comes back, a receiver that is busy and a store that is full are waited for, with growing pauses, until
nothing has gone right for the whole of the patience. Another hand at the board, and a memory that doesn't hold
what it acknowledged, are tried again a few times. Everything else ends the application at once.
The pauses and bounds are our choice; 1 to 30 s is the design's back-off for a silent receiver.
"""

from __future__ import annotations

from gateway.errors import (
    GatepostError,
    LineError,
    NotProven,
    ReceiverException,
    ReceiverRefused,
    StoreUnavailable,
    WrongAnswer,
)

__all__ = ["FIRST_PAUSE_S", "LONGEST_PAUSE_S", "PATIENCE_S", "Patience", "next_pause"]

PATIENCE_S = 900.0
FIRST_PAUSE_S = 1.0
LONGEST_PAUSE_S = 30.0
MAX_UNPROVEN = 3
MAX_FOREIGN = 10
_BUSY = frozenset({5, 6})  # acknowledge and server device busy: Modbus V1.1b3, section 7


def next_pause(pause_s: float) -> float:
    """Twice as long, up to the longest."""
    return min(pause_s * 2, LONGEST_PAUSE_S)


class Patience:
    """`now` arguments are monotonic seconds."""

    def __init__(self, now: float, patience_s: float = PATIENCE_S) -> None:
        self._patience_s = patience_s
        self._unproven = 0
        self._foreign = 0
        self.went_well(now)

    def went_well(self, now: float) -> None:
        """Something was written and proven: the patience starts anew."""
        self._deadline = now + self._patience_s
        self._pause_s = FIRST_PAUSE_S
        self._unproven = 0

    def pause_after(self, fault: GatepostError, now: float) -> float | None:
        """Seconds to wait before the next try, None when it is over."""
        if isinstance(fault, NotProven):
            self._unproven += 1
            return 0.0 if self._unproven < MAX_UNPROVEN else None
        if isinstance(fault, ReceiverRefused) and fault.code == "slot-changed":
            self._foreign += 1
            return 0.0 if self._foreign < MAX_FOREIGN else None
        if not _may_recover(fault) or now >= self._deadline:
            return None
        pause_s, self._pause_s = self._pause_s, next_pause(self._pause_s)
        return pause_s


def _may_recover(fault: GatepostError) -> bool:
    if isinstance(fault, ReceiverException):
        return fault.exception in _BUSY
    if isinstance(fault, ReceiverRefused):
        return fault.code == "busy"
    return isinstance(fault, LineError | WrongAnswer | StoreUnavailable)
