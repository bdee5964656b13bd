"""One connection, before and around what the application sees of it.

Whoever connects must send a whole request head within a time, or silent connections would use up all the room. What
the parser refuses is answered as a problem document too, without a word of the program that answers.
"""

from __future__ import annotations

import asyncio
from http import HTTPStatus
from typing import Any

from aiohttp import web
from aiohttp.http_exceptions import LineTooLong

from gateway.api.faults import RequestFault
from gateway.api.problems import problem_response
from gateway.clock import Alarm, Clock

__all__ = ["Connection"]


class Connection(web.RequestHandler):
    """aiohttp's connection with a deadline for the first request."""

    def __init__(self, server: web.Server, *, clock: Clock, greeting_s: float, **options: Any) -> None:
        super().__init__(server, loop=asyncio.get_running_loop(), **options)
        self._clock = clock
        self._greeting_s = greeting_s
        self._alarm: Alarm | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        super().connection_made(transport)
        self._alarm = self._clock.alarm(self.force_close)
        self._alarm.set(self._clock.monotonic() + self._greeting_s)

    def connection_lost(self, exc: BaseException | None) -> None:
        self.greeted()
        super().connection_lost(exc)

    def greeted(self) -> None:
        """A whole request head has come: the deadline is off."""
        if self._alarm is not None:
            self._alarm.close()
            self._alarm = None

    def handle_error(
        self,
        request: web.BaseRequest,
        status: int = HTTPStatus.INTERNAL_SERVER_ERROR,
        exc: BaseException | None = None,
        message: str | None = None,
    ) -> web.StreamResponse:
        self.greeted()
        if status >= HTTPStatus.INTERNAL_SERVER_ERROR:
            self.log_exception("request.crashed", exc_info=exc)
            fault = RequestFault("internal", "The request could not be served.", remedy="Look into the gateway's log.")
        elif isinstance(exc, LineTooLong):
            fault = RequestFault(
                "header-too-large",
                "The address or a field of the header is longer than is read here.",
                remedy="Send fewer or shorter header fields.",
            )
        else:
            fault = RequestFault(
                "request-malformed", "The request is not HTTP that can be read.", remedy="Use an HTTP client."
            )
        response = problem_response(fault)
        response.headers.update(
            {"Server": "gatepost", "Cache-Control": "no-store", "X-Content-Type-Options": "nosniff"}
        )
        response.force_close()
        return response
