"""A gate as people see it: a gate, barrier or shutter with its outputs and its contacts by role.

Where it stands is judged from its contacts alone, never from what was last asked of it; where they can't be read it
is unknown, and no older value stands in.

"Normal" is how an input is while the gate is shut and nobody does anything. So a `closed` contact is normal when the
gate is shut, and every other one is normal while what its role names is not the case.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

__all__ = ["Closing", "Contact", "Gate", "GateKind", "GatePosition", "GateState", "InputRole", "judge_position"]


class GateKind(StrEnum):
    """What moves."""

    GATE = "gate"
    BARRIER = "barrier"
    SHUTTER = "shutter"


class Closing(StrEnum):
    """What shuts the gate: somebody's command, or its own control unit after a pause."""

    BY_COMMAND = "by-command"
    BY_ITSELF = "by-itself"


class InputRole(StrEnum):
    """What an input tells of."""

    CLOSED = "closed"  # normal: the gate is shut
    OPEN = "open"  # violated: the gate is fully open
    TAMPER = "tamper"  # violated: a housing is open
    SAFETY = "safety"  # violated: something is in the way of a light barrier or an edge
    EXIT = "exit"  # violated: an exit loop or button asks the gate to open
    COMMAND = "command"  # violated: another control (intercom, key switch) works the gate
    POWER = "power"  # violated: the mains is lost
    OTHER = "other"


class GatePosition(StrEnum):
    """Where a gate stands."""

    SHUT = "shut"
    OPEN = "open"
    MOVING = "moving"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Contact:
    """One input as the settings describe it. `gate` is empty when it belongs to none."""

    receiver: str
    number: int
    role: InputRole
    name: str = ""
    gate: str = ""

    @property
    def key(self) -> str:
        """Its place as one text, `receiver/number`."""
        return f"{self.receiver}/{self.number}"


@dataclass(frozen=True, slots=True)
class Gate:
    """One gate. `outputs` are numbers of its receiver. `travel_s` is the longest time from one end to the other.

    `stay_open_limit_s` None: it may stay open for ever. `service_cycles` None: nobody counts.
    """

    name: str
    title: str
    receiver: str
    kind: GateKind = GateKind.GATE
    outputs: tuple[int, ...] = ()
    contacts: tuple[Contact, ...] = ()
    travel_s: float = 30.0
    stay_open_limit_s: float | None = None
    closing: Closing = Closing.BY_COMMAND
    service_cycles: int | None = None

    def contacts_of(self, *roles: InputRole) -> tuple[Contact, ...]:
        """Its inputs of these roles."""
        return tuple(contact for contact in self.contacts if contact.role in roles)

    @property
    def receivers(self) -> tuple[str, ...]:
        """Every receiver that must be heard for its position to be known."""
        ends = self.contacts_of(InputRole.CLOSED, InputRole.OPEN)
        return tuple(dict.fromkeys((self.receiver, *(contact.receiver for contact in ends))))


@dataclass(frozen=True, slots=True)
class GateState:
    """A gate at this moment. `since` is None while nobody saw it change. `reason` says why it is unknown.

    `conditions` are the ids of the conditions that are open on it; it is healthy without any.
    """

    gate: Gate
    position: GatePosition
    since: datetime | None
    sentence: str
    reason: str = ""
    conditions: tuple[str, ...] = field(default=())
    cycles: int = 0


def judge_position(closed: Iterable[bool | None], opened: Iterable[bool | None], *, travelling: bool) -> GatePosition:
    """Where a gate stands.

    `closed` says of each `closed` contact whether it says "shut", `opened` of each `open` contact whether it says
    "open" (None: not known). `travelling` is True while less than the travel time has passed since it began to move.
    """
    shut, wide = tuple(closed), tuple(opened)
    if None in shut or None in wide or not (shut or wide):
        return GatePosition.UNKNOWN
    is_shut, is_wide = bool(shut) and all(shut), bool(wide) and all(wide)
    if is_shut:
        return GatePosition.UNKNOWN if is_wide else GatePosition.SHUT
    if is_wide:
        return GatePosition.OPEN
    if travelling:
        return GatePosition.MOVING
    return GatePosition.OPEN if shut else GatePosition.UNKNOWN
