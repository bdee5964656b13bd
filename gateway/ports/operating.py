"""Operating an output from afar; implemented by `watch` (the desk) and `receivers` (the one request).

On purpose apart from `ports.Receiver`: the timetable, the roster, outlets and everything else that acts by itself hold
receivers that can't operate anything. Only the desk has `OperatingReceiver`, and only the API has the desk.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

from gateway.domain.operation import Operable, Operation
from gateway.domain.receiver import Identity, ReceiverSettings, Status
from gateway.domain.urgency import Urgency

__all__ = ["OperatingReceiver", "OperationDesk", "OperationOrder"]


@runtime_checkable
class OperatingReceiver(Protocol):
    """A driver whose map can express one closure that the receiver itself ends."""

    async def read_status(self, *, urgency: Urgency = Urgency.POLL) -> Status: ...

    async def read_settings(self, *, urgency: Urgency = Urgency.CONTROL) -> ReceiverSettings: ...

    async def operate(
        self, output: int, duration_ds: int, nonce: int, check: Callable[[Status, Identity | None], None]
    ) -> None:
        """In one hold of the line: status, identity (None where the map can't tell it in the hold), `check`, request.

        `duration_ds` in tenths of a second, 0 for a timed output's own on-time. `check` raises to refuse. After it has
        returned the request is sent at most once, whatever becomes of it; a LineError whose `sent` is true, and a
        WrongAnswer, then mean that nobody knows whether it moved.
        """
        ...


@dataclass(frozen=True, slots=True)
class OperationOrder:
    """What somebody asks for. `seconds` None: a timed output's own on-time, a second of a momentary one.

    `asked_s` is Clock.monotonic when the request arrived. `key` is the caller's own, empty without one. `still_may`
    says whether the caller may still operate, asked again when the turn comes.
    """

    receiver: str
    output: int
    reason: str
    asked_by: str
    asked_s: float
    seconds: float | None = None
    key: str = ""
    still_may: Callable[[], bool] = lambda: True


class OperationDesk(Protocol):
    """Operating an output (implemented by watch/). Every refusal has a code of its own; see docs/operating.md."""

    def outputs(self, receiver: str) -> tuple[Operable, ...]:
        """The outputs that have a name, called as they are now. Raises NotFound."""
        ...

    def recent(self, receiver: str, output: int) -> tuple[Operation, ...]:
        """Newest first, over restarts; the newest 200 of the gateway are kept."""
        ...

    def operation(self, operation_id: str) -> Operation:
        """Raises NotFound."""
        ...

    async def operate(self, order: OperationOrder) -> Operation:
        """One closure. Returns it `done`, or in `warning` where a warning output runs first and the rest follows.

        Raises NotFound, Unsupported, Refused, StoreUnavailable, LineError and PeerError when nothing was sent, and
        NoAnswer with `operation-unknown` when nobody knows whether it moved. All of it is in the audit.
        """
        ...
