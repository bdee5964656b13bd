"""Visit sheets as the API sees them: one receiver without a line, `boat-shed`, with two lines on its sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from gateway.clock import Clock
from gateway.domain.revocation import RevocationState
from gateway.domain.roster import Roster
from gateway.domain.visit_sheet import Gesture, LineState, SheetLine, Tick, VisitSheet
from gateway.errors import NotFound
from gateway.ports import Holding

__all__ = ["FakeVisitSheets"]


class FakeVisitSheets:
    """`ports.VisitSheets`; `held` is what it was told to hold last."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self.lines = {
            7: SheetLine(7, Gesture.REMOVE, 77, 0, 0, "Barge crew", "Take out transmitter 0000000077.", revoked=True),
            8: SheetLine(8, Gesture.LEARN, 48231907, 1, 1, "Berth 12", "Output 1 (gate): learn position 1 ..."),
        }
        self.held: Sequence[Holding] | Roster | str | None = None

    @property
    def names(self) -> tuple[str, ...]:
        return ("boat-shed",)

    def states(self, serial: int) -> Mapping[str, RevocationState]:
        return {"boat-shed": RevocationState.OWED}

    def owed(self, receiver: str) -> int:
        return 1

    def sheet(self, receiver: str) -> VisitSheet:
        if receiver not in self.names:
            raise NotFound(f"There is no receiver {receiver}.", remedy="List the receivers to see their names.")
        return VisitSheet(receiver, True, tuple(self.lines.values()), self._clock.now(), "p-hand")

    async def tick(self, receiver: str, number: int, *, done_by: str, asked_by: str) -> SheetLine:
        line = self._line(receiver, number)
        tick = Tick(done_by, asked_by, self._clock.now(), clock_trusted=True)
        self.lines[number] = replace(line, state=LineState.TICKED, tick=tick)
        return self.lines[number]

    async def untick(self, receiver: str, number: int, *, asked_by: str) -> SheetLine:
        self.lines[number] = replace(self._line(receiver, number), state=LineState.OPEN, tick=None)
        return self.lines[number]

    async def hold(self, receiver: str, holdings: Sequence[Holding], *, asked_by: str) -> VisitSheet:
        self.held = holdings
        return self.sheet(receiver)

    async def hold_as(self, receiver: str, roster: Roster, *, asked_by: str) -> VisitSheet:
        self.held = roster
        return self.sheet(receiver)

    async def hold_snapshot(self, receiver: str, snapshot: str, *, asked_by: str) -> VisitSheet:
        self.held = snapshot
        return self.sheet(receiver)

    def _line(self, receiver: str, number: int) -> SheetLine:
        self.sheet(receiver)
        if number not in self.lines:
            raise NotFound(f"There is no line {number}.", remedy="Look at the sheet.")
        return self.lines[number]
