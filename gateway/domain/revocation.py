"""A revocation: this serial must not work, now, whatever the roster still says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

__all__ = ["Revocation", "RevocationState"]


class RevocationState(StrEnum):
    """How far a revocation has come at one receiver."""

    PENDING = "pending"  # known, not yet proven there
    PROVEN = "proven"  # the receiver's memory was read and lacks the serial
    OWED = "owed"  # no line reaches the receiver: to be taken out at the next visit
    BY_HAND = "by-hand"  # no line reaches it, and by what was entered and ticked it lacks the serial; not proven


@dataclass(frozen=True, slots=True)
class Revocation:
    """Asked by whom, when, why; and its state at each receiver that has slots."""

    serial: int
    asked_by: str
    reason: str
    time: datetime
    states: Mapping[str, RevocationState] = field(default_factory=dict)
