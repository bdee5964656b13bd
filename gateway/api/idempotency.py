"""`Idempotency-Key`: a request that is sent again because its answer was lost is done once.

Kept in memory, for a day and a bounded number of keys: after a restart a key is new. A key belongs to one caller
and one address. Only answers are kept, never errors that were raised: after those the request may be tried again.
"""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from aiohttp import web

from gateway.api.bodies import HELD_BODY, read_bytes
from gateway.api.caller import caller_of
from gateway.api.faults import Place, RequestFault
from gateway.clock import Clock

__all__ = ["Idempotency", "idempotency_middleware"]

_KEYS = 1000
_KEPT_S = 24 * 3600.0
_KEY_LENGTH = 200


@dataclass(slots=True)
class _Entry:
    body: bytes
    since_s: float
    status: int = 0
    answer: bytes = b""
    headers: tuple[tuple[str, str], ...] = ()


class Idempotency:
    """Keys seen lately and what was answered."""

    def __init__(self, clock: Clock) -> None:
        self._clock = clock
        self._entries: OrderedDict[tuple[str, ...], _Entry] = OrderedDict()

    def begin(self, key: tuple[str, ...], body: bytes) -> web.Response | None:
        """The answer given before, or None when the request is to be done now. Raises RequestFault."""
        self._forget()
        digest = hashlib.sha256(body).digest()
        entry = self._entries.get(key)
        if entry is None:
            self._entries[key] = _Entry(digest, self._clock.monotonic())
            return None
        if entry.body != digest:
            raise RequestFault(
                "idempotency-key-reused",
                "This Idempotency-Key was sent before with another body.",
                remedy="Use a new key for a new request.",
                places=[Place("was used for another body", header="Idempotency-Key")],
            )
        if not entry.status:
            raise RequestFault(
                "idempotency-key-busy",
                "The first request with this Idempotency-Key is still being worked on.",
                remedy="Wait a moment and send it again.",
                headers={"Retry-After": "1"},
            )
        return web.Response(
            status=entry.status, body=entry.answer, headers={**dict(entry.headers), "Idempotency-Replayed": "true"}
        )

    def keep(self, key: tuple[str, ...], response: web.Response) -> None:
        """The request was done, with this answer."""
        entry = self._entries.get(key)
        if entry is None:  # so many others came since that it was forgotten
            return
        entry.answer = response.body if isinstance(response.body, bytes) else b""
        wanted = ("Content-Type", "Location")
        entry.headers = tuple((name, response.headers[name]) for name in wanted if name in response.headers)
        entry.status = response.status

    def forget(self, key: tuple[str, ...]) -> None:
        """The request was not done; its key is free again."""
        self._entries.pop(key, None)

    def _forget(self) -> None:
        oldest = self._clock.monotonic() - _KEPT_S
        while self._entries:
            key, entry = next(iter(self._entries.items()))
            if entry.since_s > oldest and len(self._entries) < _KEYS:
                return
            del self._entries[key]


def idempotency_middleware(keys: Idempotency, *, is_repeatable: Callable[[web.Request], bool], body_limit: int) -> Any:
    """A middleware for operations that take the key; it runs behind authentication."""

    @web.middleware
    async def once(request: web.Request, handler: Any) -> web.StreamResponse:
        sent = request.headers.get("Idempotency-Key")
        if sent is None or not is_repeatable(request):
            response: web.StreamResponse = await handler(request)
            return response
        _check(sent)
        request[HELD_BODY] = await read_bytes(request, body_limit)
        key = (caller_of(request).name, request.method, request.path, sent)
        if (before := keys.begin(key, request[HELD_BODY])) is not None:
            return before
        kept = False
        try:
            response = await handler(request)
            if isinstance(response, web.Response):
                keys.keep(key, response)
                kept = True
        finally:
            if not kept:
                keys.forget(key)
        return response

    return once


def _check(sent: str) -> None:
    if not sent or len(sent) > _KEY_LENGTH or not sent.isprintable():
        raise RequestFault(
            "request-malformed",
            f"The Idempotency-Key must be 1 to {_KEY_LENGTH} printable characters.",
            remedy="Use a random text, such as a UUID, once for each request.",
            places=[Place("is empty, too long or not printable", header="Idempotency-Key")],
        )
