"""What the register-map driver uses of a line: the Protocols behind which the real one and the tests' fake stand.

`gateway.line.Line` fits it as it is. All raise ReceiverException for a Modbus exception, LineError when the
line failed, WrongAnswer for an answer to something else.
"""

from __future__ import annotations

from contextlib import AbstractAsyncContextManager
from typing import Protocol

from gateway.domain.urgency import Urgency
from gateway.modbus import Answer, Request

__all__ = ["HeldWire", "Wire"]


class HeldWire(Protocol):
    """The line while it is held: nothing else is sent on it until the hold ends."""

    async def transact(
        self,
        address: int,
        request: Request,
        *,
        answer_time_s: float,
        tries: int | None = None,
        repeat_safe: bool = True,
    ) -> Answer: ...


class Wire(Protocol):
    """One line with its queue."""

    async def transact(
        self,
        address: int,
        request: Request,
        *,
        urgency: Urgency,
        answer_time_s: float,
        tries: int | None = None,
        repeat_safe: bool = True,
    ) -> Answer:
        """One request and its answer. Without `repeat_safe` it is sent at most once."""
        ...

    def hold(self, urgency: Urgency) -> AbstractAsyncContextManager[HeldWire]:
        """Several requests with nothing between them."""
        ...

    def registers_per_frame(self, *, overhead_bytes: int = 0) -> int:
        """How many registers a bulk frame should move just now, so that a waiting poll isn't kept too long."""
        ...

    def set_probe(self, address: int, requests: tuple[Request, Request], answer_time_s: float) -> None:
        """Two reads of distinct length that prove, after a time-out, that an answer belongs to its request."""
        ...
