"""How an operation ended: kept, told as an event, logged and audited, in the same words everywhere."""

from __future__ import annotations

from dataclasses import replace

import structlog

from gateway.clock import Clock
from gateway.domain.events import EventDraft, EventName
from gateway.domain.operation import Operable, Operation, OperationState
from gateway.errors import GatepostError, StoreError
from gateway.ports import Audit, OperationOrder
from gateway.watch.operating.log import OperationLog

__all__ = ["UNKNOWN", "Record"]

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.watch")

UNKNOWN = "operation-unknown"
_WHAT = "output.operated"
_TOLD = (OperationState.DONE, OperationState.UNKNOWN)


class Record:
    """Whoever operates ends every operation here."""

    def __init__(self, operations: OperationLog, *, audit: Audit, clock: Clock) -> None:
        self._log = operations
        self._audit = audit
        self._clock = clock

    def refused(self, operation: Operation, fault: GatepostError) -> Operation:
        """Nothing was sent, and why."""
        return replace(
            operation,
            state=OperationState.REFUSED,
            code=fault.code,
            sentence=fault.message,
            remedy=fault.remedy,
            ended=self._clock.now(),
        )

    def unknown(self, operation: Operation, why: str) -> Operation:
        """It was sent, and nobody knows more."""
        return replace(
            operation,
            state=OperationState.UNKNOWN,
            code=UNKNOWN,
            sentence=f"It is not known whether it moved; look. {why}",
            remedy="Look at the gate before anything else. It is not sent again by itself.",
            ended=self._clock.now(),
        )

    async def settle(self, operation: Operation) -> None:
        """Keep it, and tell of it when something moved or may have. A store that fails now changes nothing of that."""
        told = (_event(operation),) if operation.state in _TOLD else ()
        log.info(_WHAT, receiver=operation.receiver, output=operation.output, state=operation.state.value)
        try:
            await self._log.settle(operation, told)
        except StoreError as fault:
            log.error("output.operated_not_kept", receiver=operation.receiver, code=fault.code)

    async def audit(self, order: OperationOrder, operable: Operable, outcome: str, *, must: bool = True) -> None:
        """One row. With `must` what can't be written is raised: nothing is operated unaudited."""
        detail = {"receiver": order.receiver, "output": operable.output, "name": operable.name, "reason": order.reason}
        try:
            await self._audit.record(order.asked_by, _WHAT, detail, outcome=outcome)
        except StoreError as fault:
            if must:
                raise
            log.error("audit.outcome_not_written", what=_WHAT, outcome=outcome, code=fault.code)


def _event(operation: Operation) -> EventDraft:
    data = {
        "operation": operation.id,
        "output": operation.output,
        "name": operation.name,
        "seconds": operation.seconds,
        "outcome": operation.state.value,
        "asked_by": operation.asked_by,
        "reason": operation.reason,
    }
    return EventDraft(EventName.OUTPUT_OPERATED, operation.receiver, data)
