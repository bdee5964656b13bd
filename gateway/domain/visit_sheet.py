"""The visit sheet of a receiver that no line reaches: what a person has to do at its board, and what was ticked.

A line is one thing to do for one transmitter. Its number is given once and never again at that receiver, so a sheet
that was printed yesterday still names the same work today, whatever roster came in between. A tick says "done by
hand, not proven": nothing reads such a receiver.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from gateway.domain.receiver import Slot

__all__ = ["Gesture", "LineState", "SheetLine", "Tick", "VisitSheet"]


class Gesture(StrEnum):
    """What is done at the board."""

    REMOVE = "remove"  # a transmitter goes, with everything it works
    UNLEARN = "unlearn"  # one position no longer works one output
    LEARN = "learn"  # one position works one more output


class LineState(StrEnum):
    """Whether a line is still to be done."""

    OPEN = "open"
    TICKED = "ticked"  # done by hand, not proven
    WITHDRAWN = "withdrawn"  # no longer wanted; may still be ticked when it was done all the same


@dataclass(frozen=True, slots=True)
class Tick:
    """Who did it by their own word (`done_by`, may be empty), who entered it, and when it was entered."""

    done_by: str
    asked_by: str
    time: datetime
    clock_trusted: bool


@dataclass(frozen=True, slots=True)
class SheetLine:
    """One line. `position` and `output` are 0 where a whole transmitter goes.

    `words` are for people. `revoked` lines are owed: the transmitter works until somebody has been there. `taken` are
    the slots that a ticked removal took out, so that it can be unticked.
    """

    number: int
    gesture: Gesture
    serial: int
    position: int
    output: int
    holder: str
    words: str
    revoked: bool = False
    state: LineState = LineState.OPEN
    tick: Tick | None = None
    taken: tuple[Slot, ...] = ()

    @property
    def work(self) -> tuple[Gesture, int, int, int]:
        """What is to be done, whatever its number."""
        return (self.gesture, self.serial, self.position, self.output)


@dataclass(frozen=True, slots=True)
class VisitSheet:
    """The sheet as it stands: lines in the order of the work, withdrawn ones last.

    `holdings_known` False: nobody has yet said what the receiver holds. `plan` is the plan that the open lines carry
    out, `held` one whose removals wait for approval and are not among the lines. `problem` and `remedy` say why
    nothing, or not everything, can be planned.
    """

    receiver: str
    holdings_known: bool
    lines: tuple[SheetLine, ...] = ()
    began: datetime | None = None
    plan: str = ""
    held: str = ""
    left_out: tuple[str, ...] = ()
    problem: str = ""
    remedy: str = ""

    def count(self, state: LineState) -> int:
        """How many lines are in this state."""
        return sum(1 for line in self.lines if line.state is state)

    @property
    def owed(self) -> tuple[int, ...]:
        """The revoked transmitters that are still to be taken out, by serial."""
        return tuple(sorted(line.serial for line in self.lines if line.revoked and line.state is LineState.OPEN))
