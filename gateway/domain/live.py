"""What the gateway knows of a receiver at this moment; kept in memory, made anew at every start."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from gateway.domain.receiver import Identity, Limits, Status

__all__ = ["LinkState", "LiveReceiver", "Reading"]


class LinkState(StrEnum):
    """Whether the receiver can be reached."""

    CONNECTING = "connecting"  # not yet heard since the start
    ONLINE = "online"
    SILENT = "silent"  # the port is open, the receiver does not answer
    PORT_LOST = "port-lost"  # the adapter is missing, denied or failing
    PORT_BUSY = "port-busy"  # another program holds the port
    PASSWORD_REFUSED = "password-refused"  # noqa: S105 - a state's name
    WRONG_RECEIVER = "wrong-receiver"  # another map or serial answers than the one known
    BY_HAND = "by-hand"  # no line reaches it; nothing can be known of it at this moment


@dataclass(frozen=True, slots=True)
class Reading:
    """How far a memory is read: `done` of `total` slots of those blocks that differ from what is known."""

    done: int
    total: int


@dataclass(frozen=True, slots=True)
class LiveReceiver:
    """`status` is the last good poll and `read_monotonic` when it came (Clock.monotonic seconds).

    `problem` and `remedy` are sentences for people while `link` is not online. `poll_rate_hz` is the rate
    reached, not the rate asked for. `mirror_revision` is the revision that the mirror was last proven at. `reading` is
    None while nothing of its memory is read.
    """

    name: str
    link: LinkState
    since: datetime
    identity: Identity | None = None
    limits: Limits | None = None
    status: Status | None = None
    read_monotonic: float | None = None
    poll_rate_hz: float = 0.0
    mirror_revision: int | None = None
    problem: str = ""
    remedy: str = ""
    reading: Reading | None = None
