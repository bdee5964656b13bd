"""The line for one caller alone: several requests with nothing in between.

Operating an output needs it: status, safety inputs and identity are read, and the closure is sent, before
anything else can change. The hold ends with its `async with` block, or when its owner asks for nothing for
`IDLE_S` (our choice), so that a forgotten hold can't stop polling for ever.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass

from gateway.clock import Clock
from gateway.domain.urgency import Urgency
from gateway.errors import Refused
from gateway.line.attempts import attempt
from gateway.line.exchange import Outcome
from gateway.line.queue import Job, Waiting
from gateway.line.state import Tally
from gateway.modbus import Answer, Request

__all__ = ["IDLE_S", "HeldLine", "Hold"]

IDLE_S = 2.0


class HeldLine:
    """What `Line.hold` gives. One request at a time."""

    def __init__(self, clock: Clock, tally: Tally, tries: int, urgency: Urgency) -> None:
        self._clock = clock
        self._tally = tally
        self._tries = tries
        self._urgency = urgency
        self._next: Job | None = None
        self._ended: Exception | None = None
        self._over = False
        self._wake: asyncio.Future[None] | None = None

    async def transact(
        self,
        address: int,
        request: Request,
        *,
        answer_time_s: float,
        tries: int | None = None,
        repeat_safe: bool = True,
    ) -> Answer:
        """As `Line.transact`, in this hold. Refused (`hold-ended`) when the hold is over."""

        def submit() -> asyncio.Future[Outcome]:
            return self._submit(address, request, answer_time_s)

        return await attempt(
            submit,
            address=address,
            clock=self._clock,
            tally=self._tally,
            tries=self._tries if tries is None else tries,
            repeat_safe=repeat_safe,
        )

    def _submit(self, address: int, request: Request, answer_time_s: float) -> asyncio.Future[Outcome]:
        if self._over:
            raise self._ended or Refused(
                "The hold on the line is over.", remedy="Take a new one and read again.", code="hold-ended"
            )
        done: asyncio.Future[Outcome] = asyncio.get_running_loop().create_future()
        self._next = Job(address, self._urgency, done, request, answer_time_s)
        self._rouse()
        return done

    def release(self, fault: Exception | None = None) -> None:
        """End the hold; a request that waits in it fails with `fault`."""
        if self._over:
            return
        self._over, self._ended = True, fault
        if fault is not None and self._next is not None and not self._next.done.done():
            self._next.done.set_exception(fault)
        self._rouse()

    async def wait_job(self) -> Job | None:
        """For the line's owner: the next request of the hold, None when it is over."""
        while self._next is None and not self._over:
            self._wake = asyncio.get_running_loop().create_future()
            try:
                async with self._clock.timeout(IDLE_S):
                    await self._wake
            except TimeoutError:
                self.release()
        job, self._next = self._next, None
        return None if self._over else job

    def _rouse(self) -> None:
        if self._wake is not None and not self._wake.done():
            self._wake.set_result(None)


@dataclass(slots=True, eq=False)
class Hold(Waiting):
    """A hold waiting for its turn; it is done when it begins."""

    held: HeldLine
