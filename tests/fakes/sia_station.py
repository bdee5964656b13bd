"""An independent DC-09 receiver, pysiaalarm, on a free port of the loopback."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from typing import Any

from pysiaalarm.account import SIAAccount
from pysiaalarm.aio.client import SIAClient
from pysiaalarm.event import SIAEvent
from pysiaalarm.utils.enums import CommunicationsProtocol

__all__ = ["Station", "station"]


@dataclass
class Station:
    """Where the library listens, and what it took."""

    port: int = 0
    events: list[SIAEvent] = field(default_factory=list)


@asynccontextmanager
async def station(*accounts: SIAAccount, udp: bool = False) -> AsyncIterator[Station]:
    """Takes what these accounts send, over TCP or UDP, until the block ends."""
    found = Station()

    async def take(event: SIAEvent) -> None:
        found.events.append(event)

    protocol = CommunicationsProtocol.UDP if udp else CommunicationsProtocol.TCP
    client: Any = SIAClient("127.0.0.1", 0, list(accounts), take, protocol=protocol)  # type: ignore[abstract]
    if udp:  # its own check of the transport's class fails on Python 3.11
        client.sia_server.connection_made = lambda made: setattr(client.sia_server, "transport", made)
    await client.async_start()
    socket = client.transport.get_extra_info("socket") if udp else client.server.sockets[0]
    found.port = socket.getsockname()[1]
    try:
        yield found
        await asyncio.sleep(0.02)
    finally:
        await client.async_stop()
