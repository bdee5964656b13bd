"""What the station needs of anything that has an address on the line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from gateway.virtual.faults import AnswerFaults

__all__ = ["Reply", "Unit"]


@dataclass(frozen=True, slots=True)
class Reply:
    """An answer's PDU. `work_s` is how long the unit works before it answers; a request meanwhile ends the wait."""

    pdu: bytes
    work_s: float = 0.0


class Unit(Protocol):
    """One address. `faults` are applied by the station to what `answer` returns."""

    faults: AnswerFaults

    @property
    def start_mark(self) -> int:
        """Differs from one start to the next and while there is no power; a delayed answer dies with its start."""
        ...

    def answer(self, pdu: bytes, now: float) -> Reply | None:
        """Do what a request asks; None when the unit has no power. `now` is monotonic seconds."""
        ...
