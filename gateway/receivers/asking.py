"""One request to one receiver: its answer, or the receiver's own reason why not.

A receiver that refuses answers with a Modbus exception and says why in its status; so after an exception the
status is read and the reason raised. Functions and addresses that the receiver doesn't know (exceptions 01 and
02) need no reason. What is noticed on the way (restarts, the lock) is kept here for unlocking.
"""

from __future__ import annotations

from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass

from gateway.clock import Clock
from gateway.domain.urgency import Urgency
from gateway.errors import GatepostError, ReceiverException
from gateway.maps import Block, ReceiverMap, Role, Value
from gateway.modbus import Answer, ExceptionCode, Request
from gateway.receivers.blocks import decode_block, read_request
from gateway.receivers.refusals import refusal
from gateway.receivers.status import join_blocks, refusal_reason
from gateway.receivers.values import flag_of, number_of
from gateway.receivers.wire import HeldWire, Wire

__all__ = ["Asking", "LockSeen"]

_NO_REASON = (ExceptionCode.ILLEGAL_FUNCTION, ExceptionCode.ILLEGAL_DATA_ADDRESS)


@dataclass(frozen=True, slots=True)
class LockSeen:
    """What a status said of the link password. `at_s` is monotonic time."""

    password_set: bool
    unlocked_s: int | None
    at_s: float


class Asking:
    """Requests to the receiver `address` on a line. Cancellation is safe."""

    def __init__(self, name: str, receiver_map: ReceiverMap, wire: Wire, address: int, clock: Clock) -> None:
        self.name = name
        self.map = receiver_map
        self.clock = clock
        self.starts_seen = 0
        self.boot_count: int | None = None
        self.lock_seen: LockSeen | None = None
        self._wire = wire
        self._address = address

    def registers_per_frame(self, *, overhead_bytes: int = 0) -> int:
        """How many registers a bulk frame should move just now."""
        return self._wire.registers_per_frame(overhead_bytes=overhead_bytes)

    def hold(self, urgency: Urgency) -> AbstractAsyncContextManager[HeldWire]:
        """The line alone for several requests."""
        return self._wire.hold(urgency)

    async def ask(self, request: Request, block: Block, urgency: Urgency, *, repeat_safe: bool = True) -> Answer:
        """One request. Raises ReceiverRefused with the receiver's reason, ReceiverException without one."""
        try:
            return await self._wire.transact(
                self._address, request, urgency=urgency, answer_time_s=block.answer_s, repeat_safe=repeat_safe
            )
        except ReceiverException as fault:
            raise await self._reason(fault, block, urgency, None) from fault

    async def ask_held(self, held: HeldWire, request: Request, block: Block, *, repeat_safe: bool = False) -> Answer:
        """One request in a hold, sent at most once unless told otherwise; its reason can't be another request's."""
        try:
            return await held.transact(self._address, request, answer_time_s=block.answer_s, repeat_safe=repeat_safe)
        except ReceiverException as fault:
            raise await self._reason(fault, block, Urgency.CONTROL, held) from fault

    async def read_status(self, urgency: Urgency, held: HeldWire | None = None) -> dict[str, Value]:
        """The fields of all status blocks."""
        parts = []
        for block in self.map.status_blocks:
            request = read_request(block)
            if held is None:
                answer = await self._wire.transact(
                    self._address, request, urgency=urgency, answer_time_s=block.answer_s
                )
            else:
                answer = await held.transact(self._address, request, answer_time_s=block.answer_s)
            parts.append(decode_block(block, answer))
        values = join_blocks(parts)
        self._notice(values)
        return values

    def _notice(self, values: dict[str, Value]) -> None:
        boot_count = number_of(values, "boot_count")
        if boot_count != self.boot_count:
            self.starts_seen += 1
            self.boot_count = boot_count
        password_set = flag_of(values, "password_set")
        if password_set is not None:
            self.lock_seen = LockSeen(password_set, number_of(values, "unlocked_s"), self.clock.monotonic())

    async def _reason(
        self, fault: ReceiverException, block: Block, urgency: Urgency, held: HeldWire | None
    ) -> GatepostError:
        if fault.exception in _NO_REASON:
            return fault
        values = await self.read_status(urgency, held)
        reason = refusal_reason(values)
        if reason is None and "last_refusal" not in values:
            reason = self._guess(fault, block, values)
        return fault if reason is None else refusal(self.name, reason)

    def _guess(self, fault: ReceiverException, block: Block, values: dict[str, Value]) -> str | None:
        """A map without reasons: a refusal behind a link password is taken for the lock."""
        guarded = not block.open and self.map.has(Role.UNLOCK) and bool(flag_of(values, "password_set"))
        return "locked" if guarded and fault.exception == ExceptionCode.DEVICE_FAILURE else None
