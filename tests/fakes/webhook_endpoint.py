"""A web server on the loopback that answers POSTs as the test says, and keeps what came.

`rule` gets each request with its body and returns a response; `hang`, `reset` and `drip` are answers that servers in
the field give too.
"""

from __future__ import annotations

import asyncio
import ssl
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

from aiohttp import web

__all__ = ["Endpoint", "Got", "Rule", "drip", "hang", "reset", "serve_endpoint", "status"]


@dataclass(frozen=True, slots=True)
class Got:
    """One request as it came."""

    path: str
    headers: dict[str, str]
    body: bytes


Rule = Callable[[web.Request], Awaitable[web.StreamResponse]]


def status(code: int, **headers: str) -> Rule:
    """Always this status; underscores in names of headers stand for hyphens."""

    async def answer(_: web.Request) -> web.StreamResponse:
        return web.Response(status=code, headers={name.replace("_", "-"): value for name, value in headers.items()})

    return answer


async def hang(_: web.Request) -> web.StreamResponse:
    """Never answers."""
    await asyncio.Event().wait()
    raise AssertionError


async def reset(request: web.Request) -> web.StreamResponse:
    """Cuts the connection."""
    assert request.transport is not None
    request.transport.abort()
    return web.Response()


async def drip(request: web.Request) -> web.StreamResponse:
    """Sends its status, and then a body that never ends, byte by byte."""
    response = web.StreamResponse(headers={"Content-Length": "1000000"})
    await response.prepare(request)
    while True:
        await response.write(b".")
        await asyncio.sleep(0.05)


@dataclass
class Endpoint:
    """`arrived` is set at each request."""

    rule: Rule
    url: str = ""
    got: list[Got] = field(default_factory=list)
    arrived: asyncio.Event = field(default_factory=asyncio.Event)

    async def handle(self, request: web.Request) -> web.StreamResponse:
        """Keep it, then answer by the rule."""
        self.got.append(Got(request.path, dict(request.headers), await request.read()))
        self.arrived.set()
        return await self.rule(request)


@asynccontextmanager
async def serve_endpoint(rule: Rule, tls: ssl.SSLContext | None = None) -> AsyncIterator[Endpoint]:
    """Listens on a free port of the loopback until the end of the block."""
    endpoint = Endpoint(rule)
    app = web.Application()
    app.router.add_post("/{path:.*}", endpoint.handle)
    runner = web.AppRunner(app, handler_cancellation=True, shutdown_timeout=0.1)
    await runner.setup()
    await web.TCPSite(runner, "127.0.0.1", 0, ssl_context=tls).start()
    endpoint.url = f"{'https' if tls else 'http'}://localhost:{runner.addresses[0][1]}/events"
    try:
        yield endpoint
    finally:
        await runner.cleanup()
