"""Reads and writes of whole blocks, unlocked when need be.

A request that the receiver refuses as `locked` is repeated once after unlocking; one that it refuses as busy
is repeated after small waits. Both were refused before they took effect, so repeating them is safe.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import TypeVar

from gateway.domain.urgency import Urgency
from gateway.errors import ReceiverRefused
from gateway.maps import Block, Value
from gateway.modbus import BitsAnswer, Request
from gateway.receivers.asking import Asking
from gateway.receivers.blocks import bytes_of, decode_block, read_request, splits_safely, write_request
from gateway.receivers.unlocking import Unlocking

__all__ = ["Session"]

T = TypeVar("T")
BUSY_WAITS_S = (0.05, 0.1, 0.2)  # on top of the line's own waits; our choice


class Session:
    """One receiver's blocks."""

    def __init__(self, asking: Asking, unlocking: Unlocking) -> None:
        self.asking = asking
        self.unlocking = unlocking

    async def read(self, block: Block, urgency: Urgency) -> dict[str, Value]:
        """All fields of a block, read at one moment (block CRCs: between two equal revisions, or not valid)."""
        if splits_safely(block):
            return block.decode(await self._read_parts(block, urgency))
        return await self.guarded(block, urgency, lambda: self._read_whole(block, urgency))

    async def read_records(self, block: Block, first: int, count: int, urgency: Urgency) -> tuple[bytes, ...]:
        """The bytes of `count` records from `first` (counted from 0) on, in one frame."""
        request = read_request(block, first * block.count, count * block.count)
        data = await self.guarded(block, urgency, lambda: self._read_bytes(request, block, urgency))
        size = block.record_bytes
        return tuple(data[place : place + size] for place in range(0, len(data), size))

    async def write(
        self, block: Block, data: bytes, urgency: Urgency, *, offset: int = 0, repeat_safe: bool = True
    ) -> float:
        """Whole registers of a block, from `offset` on; the seconds that it took, the wait for its turn included."""
        request = write_request(block, data, offset)

        async def send() -> float:
            began_s = self.asking.clock.monotonic()
            await self.asking.ask(request, block, urgency, repeat_safe=repeat_safe)
            return self.asking.clock.monotonic() - began_s

        return await self.guarded(block, urgency, send)

    async def _read_whole(self, block: Block, urgency: Urgency) -> dict[str, Value]:
        return decode_block(block, await self.asking.ask(read_request(block), block, urgency))

    async def _read_bytes(self, request: Request, block: Block, urgency: Urgency) -> bytes:
        answer = await self.asking.ask(request, block, urgency)
        assert not isinstance(answer, BitsAnswer), "tables of records hold registers"
        return bytes_of(answer)

    async def _read_parts(self, block: Block, urgency: Urgency) -> bytes:
        data = b""
        while (done := len(data) // 2) < block.count:
            count = min(max(1, self.asking.registers_per_frame()), block.count - done)
            request = read_request(block, done, count)

            async def send(request: Request = request) -> bytes:
                return await self._read_bytes(request, block, urgency)

            data += await self.guarded(block, urgency, send)
        return data

    async def guarded(self, block: Block, urgency: Urgency, send: Callable[[], Awaitable[T]]) -> T:
        """Do `send`, which asks something of this block, unlocked and patiently."""
        if not block.open:
            await self.unlocking.unlock_early(urgency)
        times = self.unlocking.times
        try:
            return await self._patiently(send)
        except ReceiverRefused as fault:
            if fault.code != "locked" or block.open or not self.unlocking.possible:
                raise
        await self.unlocking.unlock(urgency, times)
        return await self._patiently(send)

    async def _patiently(self, send: Callable[[], Awaitable[T]]) -> T:
        for wait_s in BUSY_WAITS_S:
            try:
                return await send()
            except ReceiverRefused as fault:
                if fault.code != "busy":
                    raise
            await self.asking.clock.sleep(wait_s)
        return await send()
