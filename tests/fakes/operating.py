"""The operating desk as the API sees it, and a receiver that can be operated.

`FakeOperating` knows no rules, a test puts a refusal into `refuse`. `OperatedReceiver` is a `FakeReceiver` that closes
an output on request and ends it by itself on the test's clock; `meanwhile` is what happens while it waits for its turn.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

from gateway.domain.operation import Operable, Operation, OperationState, Warning
from gateway.domain.receiver import Identity, Origin, Status
from gateway.domain.urgency import Urgency
from gateway.errors import GatepostError, NotFound
from gateway.ports import OperationDesk, OperationOrder
from tests.fakes.clock import FakeClock
from tests.fakes.receiver import FakeReceiver

__all__ = ["FakeOperating", "OperatedReceiver", "some_operation"]

_NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


def some_operation(state: OperationState = OperationState.DONE) -> Operation:
    """The slip gate, for a delivery."""
    return Operation(
        "o-1", "slip-gate", 1, "gate", "a delivery", "token:1", _NOON, state, 5.0, sentence="It was closed once."
    )


class FakeOperating(OperationDesk):
    """`ports.OperationDesk`; `asked` has every order."""

    def __init__(self) -> None:
        self.asked: list[OperationOrder] = []
        self.refuse: GatepostError | None = None
        self.made = some_operation()

    def outputs(self, receiver: str) -> tuple[Operable, ...]:
        if receiver != "slip-gate":
            raise NotFound(f"There is no receiver {receiver}.", remedy="List the receivers to see their names.")
        warning = Warning(2, "lamp", 5.0)
        return (Operable(receiver, 1, "gate", True, "slip-gate", "Slip gate", warning=warning),)

    def recent(self, receiver: str, output: int) -> tuple[Operation, ...]:
        return (self.made,) if (receiver, output) == (self.made.receiver, self.made.output) else ()

    def operation(self, operation_id: str) -> Operation:
        if operation_id != self.made.id:
            raise NotFound("There is no such operation.", remedy="List them.")
        return self.made

    async def operate(self, order: OperationOrder) -> Operation:
        self.asked.append(order)
        if self.refuse is not None:
            raise self.refuse
        return replace(self.made, receiver=order.receiver, output=order.output, reason=order.reason)


class OperatedReceiver(FakeReceiver):
    """`ports.OperatingReceiver`. `sent` has every request: output, tenths of a second, nonce.

    `unsent` is the failure of a request that never left.
    """

    def __init__(self, name: str, clock: FakeClock, **more: Any) -> None:
        super().__init__(name, clock=clock, **more)
        self.sent: list[tuple[int, int, int]] = []
        self.meanwhile: Callable[[], Awaitable[None]] | None = None
        self.unsent: GatepostError | None = None
        self._wall = clock
        self._ends_at: dict[int, float] = {}

    async def read_status(self, *, urgency: Urgency = Urgency.POLL) -> Status:
        self._end_closures()
        return await super().read_status(urgency=urgency)

    async def operate(
        self, output: int, duration_ds: int, nonce: int, check: Callable[[Status, Identity | None], None]
    ) -> None:
        if self.meanwhile is not None:
            await self.meanwhile()
        await self._frame("hold", Urgency.CONTROL)
        self._end_closures()
        check(self.board.status(), self.board.identity)
        if self.unsent is not None:
            raise self.unsent
        self.sent.append((output, duration_ds, nonce))
        fault = await self._frame("operate", Urgency.CONTROL)
        seconds = duration_ds / 10 or self.board.on_times_s[output - 1]
        self._ends_at[output] = self._wall.monotonic() + seconds
        self.board.close_output(output, origin=Origin.LINE)
        self._answer(fault, None)

    def _end_closures(self) -> None:
        for output, at in list(self._ends_at.items()):
            if at <= self._wall.monotonic():
                del self._ends_at[output]
                self.board.close_output(output, closed=False)
