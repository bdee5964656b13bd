"""`Idempotency-Key`: a request that is sent again because its answer was lost is done once.

The key is noted before anything is done, and the answer beside it before it leaves; both outlive a restart (the port
`Replays`). A key belongs to one caller, one method and one address, and stands for one body. While nothing can be
written keys are known in memory, for a revocation must work on a full disk too.

A request with a key is finished even when its client hangs up in the middle: that client is the very one that will
ask again. A refusal frees the key, for nothing was done. So does an error of the line or the store, unless the
operation is `strict`: then that error is the answer for good, since it may have been done all the same. A request that
a restart cut short is never done again by itself: its key is answered with `idempotency-key-unfinished`.
"""

from __future__ import annotations

import asyncio
import hashlib
import json
from collections.abc import AsyncIterator, Callable, Coroutine
from http import HTTPStatus
from typing import Any, TypeVar

import structlog
from aiohttp import web

from gateway.api.bodies import HELD_BODY, read_bytes
from gateway.api.caller import caller_of
from gateway.api.faults import Place, RequestFault
from gateway.api.memory_replays import MemoryReplays
from gateway.api.operations import Operation
from gateway.api.problems import problem_response
from gateway.errors import GatepostError, StoreError
from gateway.ports import Replay, Replays

__all__ = ["FINISHING", "KEY_LENGTH", "Idempotency", "check_key", "finishing", "idempotency_middleware"]

KEY_LENGTH = 200
_KEPT_HEADERS = ("Content-Type", "Location")
_T = TypeVar("_T")

_log: structlog.typing.FilteringBoundLogger = structlog.get_logger(__name__)


class Finishing:
    """The tasks of requests with a key: they outlive their connections, never the application."""

    def __init__(self, group: asyncio.TaskGroup) -> None:
        self._group = group
        self._tasks: set[asyncio.Task[Any]] = set()

    async def wait(self, work: Coroutine[Any, Any, _T]) -> _T:
        """Its result. Cancelling this leaves the work alone."""
        task = self._group.create_task(work)
        self._tasks.add(task)
        task.add_done_callback(self._tasks.discard)
        return await asyncio.shield(task)

    def end(self) -> None:
        """Nothing more is finished."""
        for task in tuple(self._tasks):
            task.cancel()


FINISHING: web.AppKey[Finishing] = web.AppKey("finishing", Finishing)


async def finishing(app: web.Application) -> AsyncIterator[None]:
    """Cleanup context of the application: what still runs when it ends is cancelled."""
    async with asyncio.TaskGroup() as group:
        app[FINISHING] = Finishing(group)
        yield
        app[FINISHING].end()


class Idempotency:
    """Keys seen lately and what was answered."""

    def __init__(self, replays: Replays) -> None:
        self._replays = replays
        self._in_memory = MemoryReplays()
        self._working: dict[str, bytes] = {}

    async def begin(self, key: str, digest: bytes) -> web.Response | None:
        """The answer given before, or None when the request is to be done now. Raises RequestFault."""
        if key in self._working:
            raise _reused() if self._working[key] != digest else _busy()
        self._working[key] = digest
        try:
            before = self._in_memory.find(key) or await self._note(key, digest)
        except BaseException:
            del self._working[key]
            raise
        if before is None:
            return None
        del self._working[key]
        if before.digest != digest:
            raise _reused()
        if not before.status:
            raise _unfinished()
        headers = {**before.headers, "Idempotency-Replayed": "true"}
        return web.Response(status=before.status, body=before.body, headers=headers)

    async def keep(self, key: str, response: web.Response) -> None:
        """The request was done, with this answer."""
        headers = {name: response.headers[name] for name in _KEPT_HEADERS if name in response.headers}
        body = response.body if isinstance(response.body, bytes) else b""
        replay = Replay(self._working.pop(key), response.status, headers, body)
        try:
            await self._replays.finish(key, replay)
        except StoreError as error:
            _log.warning("replay.not_kept", code=error.code)
            await self._in_memory.begin(key, replay.digest)
        await self._in_memory.finish(key, replay)

    async def forget(self, key: str) -> None:
        """The request was not done; its key is free again."""
        self._working.pop(key, None)
        await self._in_memory.forget(key)
        try:
            await self._replays.forget(key)
        except StoreError as error:
            _log.warning("replay.not_freed", code=error.code)

    def leave(self, key: str) -> None:
        """Nobody knows whether it was done: the key stays used."""
        self._working.pop(key, None)

    async def _note(self, key: str, digest: bytes) -> Replay | None:
        try:
            return await self._replays.begin(key, digest)
        except StoreError as error:
            _log.warning("replay.in_memory_only", code=error.code)
            return await self._in_memory.begin(key, digest)


def idempotency_middleware(
    keys: Idempotency, *, operation_of: Callable[[web.Request], Operation | None], body_limit: int
) -> Any:
    """A middleware for operations that take the key; it runs behind authentication."""

    @web.middleware
    async def once(request: web.Request, handler: Any) -> web.StreamResponse:
        sent, operation = request.headers.get("Idempotency-Key"), operation_of(request)
        if sent is None or operation is None or not operation.repeatable:
            response: web.StreamResponse = await handler(request)
            return response
        check_key(sent)
        request[HELD_BODY] = await read_bytes(request, body_limit)
        key = _key(caller_of(request).name, request.method, request.path, sent)
        digest = hashlib.sha256(request.query_string.encode() + b"\0" + request[HELD_BODY]).digest()
        if (before := await keys.begin(key, digest)) is not None:
            return before
        outcome = await request.app[FINISHING].wait(_do(keys, key, request, handler, strict=operation.strict))
        if isinstance(outcome, BaseException):
            raise outcome
        return outcome

    return once


async def _do(
    keys: Idempotency, key: str, request: web.Request, handler: Any, *, strict: bool
) -> web.StreamResponse | Exception:
    """Serve, keep what was answered, and hand an error back as a value: a task of the group must not fail."""
    try:
        response: web.StreamResponse = await handler(request)
    except GatepostError as error:
        answer = problem_response(error)
        if strict and answer.status >= HTTPStatus.INTERNAL_SERVER_ERROR:
            await keys.keep(key, answer)
        else:
            await keys.forget(key)
        return error
    except Exception as error:
        keys.leave(key)
        return error
    except asyncio.CancelledError:
        keys.leave(key)
        raise
    if isinstance(response, web.Response):
        await keys.keep(key, response)
    return response


def _key(*parts: str) -> str:
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()


def check_key(sent: str) -> None:
    """Raises RequestFault when it can't be a key."""
    if not sent or len(sent) > KEY_LENGTH or not (sent.isascii() and sent.isprintable()):
        raise RequestFault(
            "request-malformed",
            f"The Idempotency-Key must be 1 to {KEY_LENGTH} printable characters of ASCII.",
            remedy="Use a random text, such as a UUID, once for each request.",
            places=[Place(f"write 1 to {KEY_LENGTH} printable characters of ASCII", header="Idempotency-Key")],
        )


def _reused() -> RequestFault:
    return RequestFault(
        "idempotency-key-reused",
        "This Idempotency-Key was sent before with another body.",
        remedy="Use a new key for a new request.",
        places=[Place("this key was used for another body; write a new one", header="Idempotency-Key")],
    )


def _busy() -> RequestFault:
    return RequestFault(
        "idempotency-key-busy",
        "The first request with this Idempotency-Key is still being worked on.",
        remedy="Wait a moment and send it again.",
        headers={"Retry-After": "1"},
    )


def _unfinished() -> RequestFault:
    return RequestFault(
        "idempotency-key-unfinished",
        "The gateway stopped while it worked on the first request with this Idempotency-Key; it may have been done.",
        remedy="Look whether it was done; if it was not, send it again with a new key.",
    )
