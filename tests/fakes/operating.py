"""The operating desk as the API sees it; it knows no rules, a test puts a refusal into `refuse`."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from gateway.domain.operation import Operable, Operation, OperationState, Warning
from gateway.errors import GatepostError, NotFound
from gateway.ports import OperationDesk, OperationOrder

__all__ = ["FakeOperating", "some_operation"]

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
