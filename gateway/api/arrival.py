"""When a request arrived: before its body was read, and before anything made it wait.

An order that is older than a few seconds when its turn comes is dropped; so the time begins here, where the head of
the request has just been read.
"""

from __future__ import annotations

from typing import Any

from aiohttp import web

from gateway.clock import Clock

__all__ = ["arrival_middleware", "arrived_s"]

_ARRIVED: web.RequestKey[float] = web.RequestKey("arrived_s", float)


def arrival_middleware(clock: Clock) -> Any:
    """The outermost middleware."""

    @web.middleware
    async def note(request: web.Request, handler: Any) -> web.StreamResponse:
        request[_ARRIVED] = clock.monotonic()
        response: web.StreamResponse = await handler(request)
        return response

    return note


def arrived_s(request: web.Request) -> float:
    """Clock.monotonic when it arrived."""
    return request[_ARRIVED]
