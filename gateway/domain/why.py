"""Why does it not open? What the gateway knows of one transmitter, in the order in which an installer would ask."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

__all__ = ["Finding", "Reason", "Why"]


class Reason(StrEnum):
    """What was found. The first finding that is no `WORKED` is the likeliest answer."""

    REVOKED = "revoked"
    ENDED = "ended"  # its dates are over
    NOT_YET = "not-yet"  # its dates have not begun
    NO_RIGHTS = "no-rights"  # the roster gives it nothing here, or this position nothing
    NOT_HELD = "not-held"  # a receiver does not hold it (yet)
    NOT_REACHED = "not-reached"  # the receiver is silent: nothing can be said of it
    NOT_HEARD = "not-heard"
    HEARD_UNKNOWN = "heard-unknown"  # heard, and not in the receiver's memory at that moment
    OUTPUT_IDLE = "output-idle"  # heard and known, and its output did not work
    DID_NOT_MOVE = "did-not-move"  # its output worked and the gate did not move
    BATTERY_LOW = "battery-low"  # its last telegram said so
    SAFETY_ACTIVE = "safety-active"  # a safety input of the gate is violated
    WORKED = "worked"


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that was found, and what to do about it. `time` is when it happened, None for what is so now."""

    reason: Reason
    sentence: str
    remedy: str = ""
    receiver: str = ""
    gate: str = ""
    time: datetime | None = None


@dataclass(frozen=True, slots=True)
class Why:
    """The answer for one transmitter. `answer` is the likeliest finding; `last_heard` None: not in what is kept."""

    holder: str
    serial: int
    answer: Finding
    findings: tuple[Finding, ...]
    last_heard: datetime | None = None
