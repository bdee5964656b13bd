"""One message to a receiver of alarms, and its answer: over TCP or UDP, one in flight.

What comes back is read until it answers this very message or the time is up: a late or doubled answer to an earlier
one, or rubbish, is passed over (DC-09, 5.5.3). TCP connections are opened for one message and closed after it.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncGenerator, Callable
from dataclasses import dataclass

from gateway.clock import Clock
from gateway.domain.addresses import AddressPolicy
from gateway.outlets.alarm.frames import Answer
from gateway.outlets.reach import resolve

__all__ = ["Address", "exchange"]

_LARGEST = 4096  # an answer has some 80 bytes; our choice
Answers = Callable[[bytes], Answer | None]
"""The answer that a piece of input is, None when it isn't ours and reading goes on."""


@dataclass(frozen=True, slots=True)
class Address:
    """Where a station listens."""

    host: str
    port: int
    udp: bool = False

    def __str__(self) -> str:
        return f"{'udp' if self.udp else 'tcp'}://{self.host}:{self.port}"


async def exchange(
    address: Address, frame: bytes, answers: Answers, *, policy: AddressPolicy, clock: Clock, answer_s: float
) -> Answer | None:
    """Send `frame` and return its answer, None when the time is up. Raises OSError, AddressRefused."""
    try:
        async with clock.timeout(answer_s):
            _, host = (await resolve(policy, address.host, address.port))[0]
            pieces = _udp(host, address.port, frame) if address.udp else _tcp(host, address.port, frame)
            async with contextlib.aclosing(pieces):
                async for piece in pieces:
                    if (answer := answers(piece)) is not None:
                        return answer
    except TimeoutError:
        return None
    return None


async def _tcp(host: str, port: int, frame: bytes) -> AsyncGenerator[bytes, None]:
    reader, writer = await asyncio.open_connection(host, port)
    try:
        writer.write(frame)
        await writer.drain()
        pending = b""
        while chunk := await reader.read(_LARGEST):
            pending = (pending + chunk)[-_LARGEST:]
            *whole, pending = pending.split(b"\r")
            for piece in whole:
                yield piece
            if pending.strip() in (b'"NAK"', b'"DUH"'):  # some stations leave out frame and CR
                yield pending
                pending = b""
    finally:
        writer.close()
        with contextlib.suppress(OSError, TimeoutError):
            await asyncio.wait_for(writer.wait_closed(), 1.0)


async def _udp(host: str, port: int, frame: bytes) -> AsyncGenerator[bytes, None]:
    inbox: asyncio.Queue[bytes | OSError] = asyncio.Queue(maxsize=16)  # more than that is not for us: dropped
    loop = asyncio.get_running_loop()
    transport, _ = await loop.create_datagram_endpoint(lambda: _Inbox(inbox), remote_addr=(host, port))
    try:
        transport.sendto(frame)
        while True:
            piece = await inbox.get()
            if isinstance(piece, OSError):
                raise piece
            yield piece
    finally:
        transport.close()


class _Inbox(asyncio.DatagramProtocol):
    def __init__(self, inbox: asyncio.Queue[bytes | OSError]) -> None:
        self._inbox = inbox

    def datagram_received(self, data: bytes, addr: object) -> None:
        self._put(data)

    def error_received(self, exc: Exception) -> None:
        if isinstance(exc, OSError):
            self._put(exc)

    def _put(self, item: bytes | OSError) -> None:
        with contextlib.suppress(asyncio.QueueFull):
            self._inbox.put_nowait(item)
