"""A web server on the loopback over real TLS, whose answers a test sets and which keeps what it was asked.

The certificates come from `tests/vectors/rosters/tls/make.sh` and are good until 2099.
"""

from __future__ import annotations

import ssl
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path

from aiohttp import web

__all__ = ["AUTHORITY", "TLS", "Handler", "Server", "file", "fixed", "redirect", "running"]

TLS = Path(__file__).parents[1] / "vectors" / "rosters" / "tls"
AUTHORITY = TLS / "authority.pem"
Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


def server_tls(name: str) -> ssl.SSLContext:
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(TLS / f"{name}.pem")
    return context


@dataclass
class Server:
    """A server whose answers a test sets, and what it was asked."""

    base: str
    answers: dict[str, Handler] = field(default_factory=dict)
    requests: list[web.BaseRequest] = field(default_factory=list)

    async def handle(self, request: web.BaseRequest) -> web.StreamResponse:
        assert isinstance(request, web.Request)
        self.requests.append(request)
        return await self.answers[request.path](request)

    def url(self, path: str) -> str:
        return self.base + path

    def asked(self, name: str) -> list[str | None]:
        return [request.headers.get(name) for request in self.requests]


@asynccontextmanager
async def running(certificate: str | None = "localhost", host: str = "localhost") -> AsyncIterator[Server]:
    """A server on a free port of the loopback."""
    server = Server("")
    app = web.Application()
    app.router.add_route("*", "/{path:.*}", server.handle)
    runner = web.AppRunner(app, shutdown_timeout=0.1, handler_cancellation=True)
    await runner.setup()
    context = server_tls(certificate) if certificate else None
    site = web.TCPSite(runner, "127.0.0.1", 0, ssl_context=context)
    await site.start()
    server.base = f"{'https' if certificate else 'http'}://{host}:{runner.addresses[0][1]}"
    try:
        yield server
    finally:
        await runner.cleanup()


def file(body: bytes, etag: str | None = None, changed: str | None = None) -> Handler:
    """An honest server of one file (RFC 9110, section 13.2.2)."""

    async def answer(request: web.Request) -> web.StreamResponse:
        headers = {name: value for name, value in (("ETag", etag), ("Last-Modified", changed)) if value}
        asked = request.headers
        if etag is not None and "If-None-Match" in asked:
            unchanged = asked["If-None-Match"].removeprefix("W/") == etag.removeprefix("W/")  # weak comparison
        else:
            unchanged = changed is not None and asked.get("If-Modified-Since") == changed
        return web.Response(status=304, headers=headers) if unchanged else web.Response(body=body, headers=headers)

    return answer


def redirect(target: str, status: int = 302) -> Handler:
    async def answer(_: web.Request) -> web.StreamResponse:
        return web.Response(status=status, headers={"Location": target})

    return answer


def fixed(response: Callable[[], web.Response]) -> Handler:
    async def answer(_: web.Request) -> web.StreamResponse:
        return response()

    return answer
