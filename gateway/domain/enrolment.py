"""Enrolment: finding out the serial of a transmitter in somebody's hand, and what came of it.

Also the local override: a transmitter that works before the roster has it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from gateway.domain.roster import Entry, Right

__all__ = ["Enrolment", "EnrolmentStep", "EnrolmentWay", "Heard", "Override"]


class EnrolmentWay(StrEnum):
    """What makes a serial certain."""

    TYPED = "typed"  # somebody types what is printed on the transmitter; nothing listens
    TYPED_AND_PRESSED = "typed-and-pressed"  # typed, and one press of that very transmitter
    TWO_PRESSES = "two-presses"  # two presses of the same transmitter
    SEVERAL = "several"  # two presses each, one transmitter after the other


class EnrolmentStep(StrEnum):
    """How far an enrolment has come."""

    LISTENING = "listening"  # nothing heard in this window yet
    HEARD = "heard"  # one press; the second one is waited for
    CONFIRMED = "confirmed"  # the serial is certain; a person says now whose it is
    CONFLICT = "conflict"  # another transmitter than the one expected was pressed: nothing is certain
    ENDED = "ended"  # the receiver listened as long as it was asked to, and nothing became certain
    CANCELLED = "cancelled"
    FAILED = "failed"  # the receiver was lost or restarted meanwhile
    COMPLETED = "completed"  # rows were made of it

    @property
    def is_listening(self) -> bool:
        """True while the receiver listens for it."""
        return self in (EnrolmentStep.LISTENING, EnrolmentStep.HEARD)


@dataclass(frozen=True, slots=True)
class Heard:
    """A transmitter that was pressed or typed. `position` is the last one pressed, empty when it was typed alone.

    `holder` is who has it by the roster in force, empty when nobody has. `revoked` when it must work nowhere.
    """

    serial: int
    presses: int = 0
    position: str = ""
    holder: str = ""
    revoked: bool = False


@dataclass(frozen=True, slots=True)
class Enrolment:
    """One enrolment at one receiver.

    `typed` is the serial that was typed, None when none was. `heard` are the transmitters of the window that is open
    or was the last, in the order of their first press; `confirmed` those that are certain. `ends` is when listening
    ends at the latest, None when nothing listens.
    """

    id: str
    receiver: str
    way: EnrolmentWay
    step: EnrolmentStep
    started: datetime
    asked_by: str
    typed: int | None = None
    heard: tuple[Heard, ...] = ()
    confirmed: tuple[Heard, ...] = ()
    ends: datetime | None = None
    problem: str = ""
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class Override:
    """A transmitter that works here though the roster does not have it yet.

    `rights` are those that were given; a `group` that the roster in force knows goes before them. `made_under` is the
    digest of the roster in force when it was made, empty when there was none.
    """

    serial: int
    holder: str
    kind: str
    group: str
    rights: tuple[Right, ...]
    note: str
    asked_by: str
    time: datetime
    made_under: str = field(default="")

    def entry(self) -> Entry:
        """As a row of the roster."""
        return Entry(0, self.serial, self.holder, self.kind, self.group, self.rights, note=self.note)
