"""Events: what the journal keeps, in order, and everybody is told of.

An event's id is `<epoch>-<number>`. The epoch names one life of the journal (a new or restored database starts
a new one); the number rises by one. Names are `noun.verb`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Any

__all__ = ["Event", "EventDraft", "EventId", "EventName", "Span"]


class EventName(StrEnum):
    """Every event there is."""

    INPUT_CHANGED = "input.changed"
    OUTPUT_CHANGED = "output.changed"
    TRANSMITTER_HEARD = "transmitter.heard"
    LINK_LOST = "link.lost"
    LINK_RESTORED = "link.restored"
    RECEIVER_RESTARTED = "receiver.restarted"
    RING_OVERRUN = "ring.overrun"
    OUTPUT_MODE_CHANGED = "output.mode_changed"
    SETTINGS_CHANGED = "settings.changed"
    SLOT_CHANGED = "slot.changed"
    RECEIVER_REPLACED = "receiver.replaced"
    ROSTER_FETCHED = "roster.fetched"
    ROSTER_REFUSED = "roster.refused"
    ROSTER_UNREACHABLE = "roster.unreachable"
    ROSTER_PAUSED = "roster.paused"
    ROSTER_RESUMED = "roster.resumed"
    PLAN_HELD = "plan.held"
    PLAN_REFUSED = "plan.refused"
    PLAN_APPLIED = "plan.applied"
    PLAN_FAILED = "plan.failed"
    DRIFT_FOUND = "drift.found"
    DRIFT_DECIDED = "drift.decided"
    DRIFT_SETTLED = "drift.settled"
    REVOCATION_PENDING = "revocation.pending"
    REVOCATION_APPLIED = "revocation.applied"
    REVOCATION_LIFTED = "revocation.lifted"
    ENROLMENT_CHANGED = "enrolment.changed"
    OUTPUT_OPERATED = "output.operated"
    SNAPSHOT_TAKEN = "snapshot.taken"
    JOURNAL_RESTARTED = "journal.restarted"
    CONDITION_RAISED = "condition.raised"
    CONDITION_CLEARED = "condition.cleared"
    CONDITION_ACKNOWLEDGED = "condition.acknowledged"
    CLOCK_UNTRUSTED = "clock.untrusted"
    CLOCK_TRUSTED = "clock.trusted"
    OUTLET_FAILING = "outlet.failing"
    OUTLET_RECOVERED = "outlet.recovered"
    OUTLET_SET_ASIDE = "outlet.set_aside"
    VISIT_STARTED = "visit.started"
    VISIT_ENDED = "visit.ended"
    AUDIT_SEALED = "audit.sealed"
    JOURNAL_RESUMED = "journal.resumed"
    GATEWAY_STARTED = "gateway.started"
    GATEWAY_STOPPED = "gateway.stopped"


@dataclass(frozen=True, slots=True, order=True)
class EventId:
    """`<epoch>-<number>`; ids of one epoch are ordered by number, epochs have no order."""

    epoch: str
    number: int

    def __str__(self) -> str:
        return f"{self.epoch}-{self.number}"

    @classmethod
    def parse(cls, text: str) -> EventId:
        """Read an id. Raises ValueError when it isn't one."""
        epoch, dash, number = text.strip().rpartition("-")
        if not (dash and epoch.isalnum() and number.isascii() and number.isdigit()):
            raise ValueError(f"not an event id: {text!r}")
        return cls(epoch, int(number))


@dataclass(frozen=True, slots=True)
class Span:
    """The earliest and the latest wall time at which something found after a gap can have happened."""

    earliest: datetime
    latest: datetime


@dataclass(frozen=True, slots=True)
class EventDraft:
    """An event before it is durable. `data` is plain JSON: strings, numbers, booleans, None, lists, objects.

    `receiver` is the settings' name of the receiver, empty for the gateway itself. `late` is set for an event
    read after a gap (rule 12).
    """

    name: EventName
    receiver: str = ""
    data: Mapping[str, Any] = field(default_factory=dict)
    late: Span | None = None


@dataclass(frozen=True, slots=True)
class Event:
    """A durable event. `time` is wall time when it was written, `clock_trusted` whether that is known to be right.

    `boot_id` and `monotonic_s` keep order and gaps true when wall time is not.
    """

    id: EventId
    name: EventName
    receiver: str
    time: datetime
    clock_trusted: bool
    boot_id: str
    monotonic_s: float
    data: Mapping[str, Any] = field(default_factory=dict)
    late: Span | None = None
