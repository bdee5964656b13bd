"""What a line tells about itself: its state, and counts since the start."""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass
from typing import Literal

__all__ = ["ANSWER_BOUNDS_S", "LineCounters", "LineState", "LineStateKind", "Tally"]

#: Upper bounds, inclusive, of the classes that answers are counted in; one more class is for all that took longer.
ANSWER_BOUNDS_S = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0)

LineStateKind = Literal["closed", "opening", "open", "lost", "missing", "denied", "busy", "failed"]


@dataclass(frozen=True, slots=True)
class LineState:
    """`since` is monotonic seconds. `reason` and `remedy` are for people; both empty while all is well.

    closed: not started or stopped. opening: the first try is under way. open: working. lost: the adapter
    went away. missing, denied, busy, failed: why the port can't be opened; it is tried again by itself.
    """

    kind: LineStateKind
    since: float
    reason: str = ""
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class LineCounters:
    """Counts since the start; they never fall.

    `frames_sent` counts requests on the wire, probes included (`probes` says how many those were).
    `damaged` counts exchanges whose answer was no whole frame, above all wrong CRCs; `timeouts` those without
    an answer; `foreign` those answered with another request's frame. `stray_bytes` came while nothing was
    asked, `late_bytes` in the quiet after a time-out, `early_bytes` before the request had left the wire.
    `busy_s` is the time that the wire was taken, silences included. `answers_by_s` counts answers by how long they
    took, from the first byte of the request to the last of the answer, in the classes of `ANSWER_BOUNDS_S`;
    `answers_s` is how long all of them took together.
    """

    frames_sent: int = 0
    answers: int = 0
    exceptions: int = 0
    retries: int = 0
    probes: int = 0
    timeouts: int = 0
    damaged: int = 0
    foreign: int = 0
    crowded: int = 0
    bytes_sent: int = 0
    bytes_received: int = 0
    stray_bytes: int = 0
    late_bytes: int = 0
    early_bytes: int = 0
    overflows: int = 0
    opened: int = 0
    lost: int = 0
    busy_s: float = 0.0
    answers_s: float = 0.0
    answers_by_s: tuple[int, ...] = (0,) * (len(ANSWER_BOUNDS_S) + 1)


class Tally:
    """The counts while they are being kept; `snapshot` is what others get."""

    __slots__ = tuple(LineCounters.__dataclass_fields__)

    frames_sent: int
    answers: int
    exceptions: int
    retries: int
    probes: int
    timeouts: int
    damaged: int
    foreign: int
    crowded: int
    bytes_sent: int
    bytes_received: int
    stray_bytes: int
    late_bytes: int
    early_bytes: int
    overflows: int
    opened: int
    lost: int
    busy_s: float
    answers_s: float
    answers_by_s: tuple[int, ...]

    def __init__(self) -> None:
        for name, field in LineCounters.__dataclass_fields__.items():
            setattr(self, name, field.default)

    def answered(self, took_s: float) -> None:
        """One more answer, and how long it took."""
        place = bisect_left(ANSWER_BOUNDS_S, took_s)
        self.answers_by_s = (*self.answers_by_s[:place], self.answers_by_s[place] + 1, *self.answers_by_s[place + 1 :])
        self.answers_s += took_s

    def snapshot(self) -> LineCounters:
        """The counts as they are now."""
        return LineCounters(**{name: getattr(self, name) for name in self.__slots__})
