"""A receiver of alarms on the loopback that answers as the test says; TCP and UDP.

For what stations in the field do and a library does not: no answer, a late or doubled one, another sequence, NAK with
a time, DUH. `got` has the frames as they came. It shares no code with the sender but the checksum's polynomial.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import Any

__all__ = ["Frame", "Reply", "ack", "framed", "run_station", "silence"]


@dataclass(frozen=True, slots=True)
class Frame:
    """A message, taken apart leniently."""

    raw: bytes
    token: str
    sequence: str
    account: str


Reply = Callable[[Frame], Sequence[bytes]]


def framed(body: str) -> bytes:
    """A frame with its checksum and length, counted bit by bit as the catalogue describes."""
    crc = 0
    for byte in body.encode():
        for bit in range(8):
            odd = (crc ^ byte >> bit) & 1
            crc = crc >> 1 ^ (0xA001 if odd else 0)
    return f"\n{crc:04X}{len(body):04X}{body}\r".encode()


def ack(frame: Frame) -> Sequence[bytes]:
    """What a station in order says."""
    return [framed(f'"ACK"{frame.sequence}R0L0#{frame.account}[]')]


def silence(_: Frame) -> Sequence[bytes]:
    """Nothing."""
    return []


@dataclass
class Station:
    """`rule` may be exchanged at any time; `script` is used up before it."""

    rule: Reply = ack
    script: list[Reply] = field(default_factory=list)
    got: list[Frame] = field(default_factory=list)
    port: int = 0

    def answer(self, raw: bytes) -> Sequence[bytes]:
        """Keep the frame and answer."""
        found = re.match(rb'\n\w{8}"\*?([A-Z-]+)"(\d{4})R\w+L\w+#(\w+)\[', raw)
        assert found is not None, raw
        token, sequence, account = (part.decode() for part in found.groups())
        frame = Frame(raw, token, sequence, account)
        self.got.append(frame)
        return (self.script.pop(0) if self.script else self.rule)(frame)


@asynccontextmanager
async def run_station(rule: Reply = ack, *, udp: bool = False) -> AsyncIterator[Station]:
    """Listens on a free port of the loopback."""
    station = Station(rule)
    if udp:
        loop = asyncio.get_running_loop()
        transport, _ = await loop.create_datagram_endpoint(lambda: _Datagrams(station), local_addr=("127.0.0.1", 0))
        station.port = transport.get_extra_info("sockname")[1]
        try:
            yield station
        finally:
            transport.close()
        return

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            while True:
                raw = await reader.readuntil(b"\r")
                for piece in station.answer(raw):
                    writer.write(piece)
                await writer.drain()
        except (asyncio.IncompleteReadError, ConnectionError):
            pass
        finally:
            writer.close()

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    station.port = server.sockets[0].getsockname()[1]
    try:
        yield station
    finally:
        server.close()


class _Datagrams(asyncio.DatagramProtocol):
    def __init__(self, station: Station) -> None:
        self._station = station
        self._transport: Any = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        self._transport = transport

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        for piece in self._station.answer(data):
            self._transport.sendto(piece, addr)
