"""Serving the application on its listeners until the block around it ends.

The server is bounded: so many connections and no more, each with a short answer when there is no room. When the
block ends the streams end at once, whatever their clients do.
"""

from __future__ import annotations

import asyncio
import socket
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass
from typing import Any

from aiohttp import web

from gateway.api.connection import Connection
from gateway.api.context import CONTEXT, Context
from gateway.api.listeners import Listener, TcpListener, UnixListener, open_socket

__all__ = ["Serving", "serve"]

_SHUTDOWN_S = 2.0  # for ordinary requests; streams end at once
_KEEP_ALIVE_S = 30.0
_NO_ROOM = (
    b"HTTP/1.1 503 Service Unavailable\r\nContent-Length: 0\r\nConnection: close\r\nRetry-After: 1\r\n"
    b"Cache-Control: no-store\r\nX-Content-Type-Options: nosniff\r\n\r\n"
)


@dataclass(frozen=True, slots=True)
class Serving:
    """`ports` has the port of each network listener, in their order."""

    ports: tuple[int, ...]


@asynccontextmanager
async def serve(app: web.Application, listeners: Sequence[Listener]) -> AsyncIterator[Serving]:
    """Serve inside the block. Raises SettingsFault or Refused when an address can't be used; nothing is served then."""
    runner = web.AppRunner(app, handler_cancellation=True, shutdown_timeout=_SHUTDOWN_S)
    sockets: list[socket.socket] = []
    try:
        for listener in listeners:
            sockets.append(open_socket(listener))
        await runner.setup()
        for listener, bound in zip(listeners, sockets, strict=True):
            await _Site(runner, listener, bound, app[CONTEXT]).start()
        yield Serving(tuple(bound.getsockname()[1] for bound in sockets if bound.family != socket.AF_UNIX))
    finally:
        await runner.cleanup()
        for listener, bound in zip(listeners, sockets, strict=False):
            bound.close()
            if isinstance(listener, UnixListener):
                listener.path.unlink(missing_ok=True)


class _NoRoom(asyncio.Protocol):
    """Says that there is no room, and hangs up."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        transport.write(_NO_ROOM)
        transport.close()


class _Site(web.BaseSite):
    """A bound socket with a limit on its connections."""

    def __init__(self, runner: web.AppRunner, listener: Listener, bound: socket.socket, context: Context) -> None:
        tls = listener.tls if isinstance(listener, TcpListener) else None
        super().__init__(runner, ssl_context=tls)
        assert runner.server is not None
        self._web_server = runner.server
        self._bound = bound
        limits = context.limits
        self._greeting_s = limits.greeting_s
        more = limits.local_connections if isinstance(listener, UnixListener) else 0
        self._most = limits.connections + more
        self._options: dict[str, Any] = {
            "clock": context.services.clock,
            "greeting_s": limits.greeting_s,
            "access_log": None,
            "auto_decompress": False,  # a small body may unpack to gigabytes; `bodies` refuses packed ones
            "keepalive_timeout": _KEEP_ALIVE_S,
            "max_line_size": limits.header_bytes,
            "max_field_size": limits.header_bytes,
        }

    @property
    def name(self) -> str:
        return str(self._bound.getsockname())

    async def start(self) -> None:
        await super().start()
        loop = asyncio.get_running_loop()
        self._server = await loop.create_server(
            self._connect,
            sock=self._bound,
            ssl=self._ssl_context,
            ssl_handshake_timeout=self._greeting_s if self._ssl_context else None,
        )

    def _connect(self) -> asyncio.Protocol:
        if len(self._web_server.connections) >= self._most:
            return _NoRoom()
        return Connection(self._web_server, **self._options)
