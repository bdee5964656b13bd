"""What a line tells about itself: its state, and counts since the start."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

__all__ = ["LineCounters", "LineState", "LineStateKind", "Tally"]

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
    `busy_s` is the time that the wire was taken, silences included.
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

    def __init__(self) -> None:
        for name in self.__slots__:
            setattr(self, name, 0)

    def snapshot(self) -> LineCounters:
        """The counts as they are now."""
        return LineCounters(**{name: getattr(self, name) for name in self.__slots__})
