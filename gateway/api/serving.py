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

from gateway.api.context import CONTEXT
from gateway.api.faults import RequestFault
from gateway.api.limits import Limits
from gateway.api.listeners import Listener, TcpListener, UnixListener, open_socket
from gateway.api.problems import problem_response

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
            await _Site(runner, listener, bound, app[CONTEXT].limits).start()
        yield Serving(tuple(bound.getsockname()[1] for bound in sockets if bound.family != socket.AF_UNIX))
    finally:
        await runner.cleanup()
        for listener, bound in zip(listeners, sockets, strict=False):
            bound.close()
            if isinstance(listener, UnixListener):
                listener.path.unlink(missing_ok=True)


class _Connection(web.RequestHandler):
    """A connection whose parser's own refusals, which no middleware sees, are problem documents too."""

    def handle_error(
        self,
        request: web.BaseRequest,
        status: int = 500,
        exc: BaseException | None = None,
        message: str | None = None,
    ) -> web.StreamResponse:
        if status >= 500:
            super().handle_error(request, status, exc, message)  # logs it
        code = "internal" if status >= 500 else "request-malformed"
        response = problem_response(
            RequestFault(code, "The request is not HTTP that can be read.", remedy="Send it with an HTTP client.")
        )
        response.headers["Server"] = "gatepost"
        response.headers["Cache-Control"] = "no-store"
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.force_close()
        return response


class _NoRoom(asyncio.Protocol):
    """Says that there is no room, and hangs up."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        transport.write(_NO_ROOM)
        transport.close()


class _Site(web.BaseSite):
    """A bound socket with a limit on its connections."""

    def __init__(self, runner: web.AppRunner, listener: Listener, bound: socket.socket, limits: Limits) -> None:
        tls = listener.tls if isinstance(listener, TcpListener) else None
        super().__init__(runner, ssl_context=tls)
        assert runner.server is not None
        self._web_server = runner.server
        self._bound = bound
        more = limits.local_connections if isinstance(listener, UnixListener) else 0
        self._most = limits.connections + more
        self._options: dict[str, Any] = {
            "access_log": None,
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
        self._server = await loop.create_server(self._connect, sock=self._bound, ssl=self._ssl_context)

    def _connect(self) -> asyncio.Protocol:
        if len(self._web_server.connections) >= self._most:
            return _NoRoom()
        return _Connection(self._web_server, loop=asyncio.get_running_loop(), **self._options)
