"""Work in progress: people are at a site, a gate or a receiver for a stated time.

The roster is not brought there meanwhile, alarm reports are marked as tests, and the board's own buttons may be
unlocked. It ends by itself, also when nobody is there to end it; what changed meanwhile is then listed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

__all__ = ["MOST_MINUTES", "Visit", "VisitChange", "VisitScope", "VisitState"]

#: The longest time that can be asked for at once; our choice: a working day.
MOST_MINUTES = 480


class VisitScope(StrEnum):
    """What it is about."""

    SITE = "site"
    GATE = "gate"
    RECEIVER = "receiver"


class VisitState(StrEnum):
    """How far it is."""

    RUNNING = "running"
    LOCKING = "locking"  # over; a receiver that was unlocked for it is not proven locked yet, and is tried again
    ENDED = "ended"


@dataclass(frozen=True, slots=True)
class VisitChange:
    """One thing that changed meanwhile, in words; `event` is the id of the event that told it."""

    receiver: str
    event: str
    time: datetime
    sentence: str


@dataclass(frozen=True, slots=True)
class Visit:
    """One from started to ended.

    `name` is the gate's or receiver's, empty for the whole site; `receivers` are those concerned. `unlocked` are the
    receivers whose local programming was opened for it and is to be locked again; `problems` say by receiver what went
    wrong with that. `epoch` and `number` are the newest event's when it began. `until_s` is Clock.monotonic in the run
    `boot_id` of the machine. `unread` are receivers that could not be read at the end.
    """

    id: str
    scope: VisitScope
    name: str
    receivers: tuple[str, ...]
    reason: str
    asked_by: str
    minutes: int
    started: datetime
    until: datetime
    state: VisitState = VisitState.RUNNING
    unlocked: tuple[str, ...] = ()
    problems: dict[str, str] = field(default_factory=dict)
    ended: datetime | None = None
    ended_by: str = ""
    changes: tuple[VisitChange, ...] = ()
    unread: tuple[str, ...] = ()
    epoch: str = ""
    number: int = 0
    boot_id: str = ""
    until_s: float = 0.0
