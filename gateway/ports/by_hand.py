"""Receivers that no line reaches: their visit sheets and what they hold; implemented by `sync`."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from gateway.domain.revocation import RevocationState
from gateway.domain.roster import Roster
from gateway.domain.visit_sheet import SheetLine, VisitSheet

__all__ = ["ByHand", "Holding", "VisitSheets"]


@dataclass(frozen=True, slots=True)
class Holding:
    """One transmitter that a receiver holds: output numbers by position number, and what it is called there."""

    serial: int
    outputs: Mapping[int, Collection[int]]
    name: str = ""


class ByHand(Protocol):
    """What others need to know of receivers without a line."""

    @property
    def names(self) -> tuple[str, ...]: ...

    def states(self, serial: int) -> Mapping[str, RevocationState]:
        """How far a revocation has come at each of them: OWED or BY_HAND, never PROVEN."""
        ...


class VisitSheets(ByHand, Protocol):
    """Visit sheets: shown, ticked, unticked; and what a receiver holds before the first visit."""

    def owed(self, receiver: str) -> int:
        """How many revoked transmitters may still work there: to be taken out at the next visit."""
        ...

    def sheet(self, receiver: str) -> VisitSheet:
        """The sheet as it stands. Raises NotFound, and Unsupported for a receiver that has a line."""
        ...

    async def tick(self, receiver: str, number: int, *, done_by: str, asked_by: str) -> SheetLine:
        """Done by hand, not proven. Durable when it returns; ticked twice is ticked once, by whom it was first.

        Raises NotFound, and Refused with `memory-full` when there is no free slot before a removal is ticked.
        """
        ...

    async def untick(self, receiver: str, number: int, *, asked_by: str) -> SheetLine:
        """It was not done after all. Durable when it returns; what is not ticked stays as it is. Raises NotFound."""
        ...

    async def hold(self, receiver: str, holdings: Sequence[Holding], *, asked_by: str) -> VisitSheet:
        """This is what it holds, whatever was known before. Raises Refused with `holdings-unfit`."""
        ...

    async def hold_as(self, receiver: str, roster: Roster, *, asked_by: str) -> VisitSheet:
        """It holds what this roster says for it, today, without regard to dates and revocations. Raises as `hold`."""
        ...

    async def hold_snapshot(self, receiver: str, snapshot: str, *, asked_by: str) -> VisitSheet:
        """It holds what this snapshot says. Raises NotFound, and as `hold`."""
        ...
