"""What stands behind `Idempotency-Key`."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest
from aiohttp import web

from gateway.api.bodies import HELD_BODY
from gateway.api.caller import CALLER, Caller
from gateway.api.faults import RequestFault
from gateway.api.idempotency import Idempotency, finishing, idempotency_middleware
from gateway.api.memory_replays import MemoryReplays
from gateway.api.operations import Operation
from gateway.api.scopes import Scope
from gateway.errors import GatepostError, NoAnswer, Refused, StoreUnavailable
from gateway.ports import Replay
from tests.fakes.http_requests import request_to

_ANSWER = web.Response(
    status=202, body=b"{}", headers={"Content-Type": "application/json", "Location": "/p", "X-Other": "1"}
)


class BrokenReplays(MemoryReplays):
    """A full disk, for as long as `full` is set."""

    full = True

    async def begin(self, key: str, digest: bytes) -> Replay | None:
        self._check()
        return await super().begin(key, digest)

    async def finish(self, key: str, replay: Replay) -> None:
        self._check()
        await super().finish(key, replay)

    async def forget(self, key: str) -> None:
        self._check()
        await super().forget(key)

    def _check(self) -> None:
        if self.full:
            raise StoreUnavailable("full", remedy="make room")


async def _code(keys: Idempotency, key: str, digest: bytes) -> str:
    with pytest.raises(RequestFault) as fault:
        await keys.begin(key, digest)
    return fault.value.code


async def test_the_same_request_is_answered_with_the_first_answer() -> None:
    """Status, body and place are as before, and the answer says that it is a repetition."""
    keys = Idempotency(MemoryReplays())
    assert await keys.begin("k", b"1") is None
    await keys.keep("k", _ANSWER)
    again = await keys.begin("k", b"1")
    assert again is not None
    assert (again.status, again.body, again.headers["Location"]) == (202, b"{}", "/p")
    assert again.headers["Idempotency-Replayed"] == "true"
    assert "X-Other" not in again.headers
    assert await keys.begin("other", b"1") is None


async def test_another_body_and_an_unfinished_request_are_refused() -> None:
    """A key stands for one body; while the first is worked on the second waits outside."""
    keys = Idempotency(MemoryReplays())
    await keys.begin("k", b"1")
    assert await _code(keys, "k", b"1") == "idempotency-key-busy"
    assert await _code(keys, "k", b"2") == "idempotency-key-reused"
    await keys.keep("k", _ANSWER)
    assert await _code(keys, "k", b"2") == "idempotency-key-reused"


async def test_after_a_restart_the_answer_is_known_and_a_cut_request_is_not_done_again() -> None:
    """The second instance stands for the program after a power cut."""
    replays = MemoryReplays()
    first = Idempotency(replays)
    await first.begin("done", b"1")
    await first.keep("done", _ANSWER)
    await first.begin("cut", b"1")
    second = Idempotency(replays)
    answer = await second.begin("done", b"1")
    assert answer is not None
    assert answer.status == 202
    assert await _code(second, "cut", b"1") == "idempotency-key-unfinished"
    assert await _code(second, "cut", b"2") == "idempotency-key-reused"


async def test_on_a_full_disk_keys_hold_until_a_restart() -> None:
    """A revocation must work there, and once."""
    keys = Idempotency(BrokenReplays())
    assert await keys.begin("k", b"1") is None
    await keys.keep("k", _ANSWER)
    assert await keys.begin("k", b"1") is not None
    await keys.begin("free", b"1")
    await keys.forget("free")
    assert await keys.begin("free", b"2") is None


async def test_a_disk_that_fills_in_the_middle_loses_no_answer() -> None:
    """The key stands on the disk, the answer in memory."""
    replays = BrokenReplays()
    replays.full = False
    keys = Idempotency(replays)
    await keys.begin("k", b"1")
    replays.full = True
    await keys.keep("k", _ANSWER)
    assert (await keys.begin("k", b"1")) is not None


async def test_memory_is_bounded() -> None:
    """A thousand keys are kept; the oldest gives way, and an answer that comes for it later is no error."""
    replays = MemoryReplays()
    for number in range(1001):
        await replays.begin(str(number), b"")
    await replays.finish("0", Replay(b"", 200))
    assert await replays.begin("1", b"") == Replay(b"")
    assert await replays.begin("0", b"") is None


class Bench:
    """The middleware around a handler that counts how often it was run and does what `then` says."""

    def __init__(self, *, strict: bool = False) -> None:
        self.runs = 0
        self.error: GatepostError | None = None
        self.may_end = asyncio.Event()
        self.may_end.set()
        operation = Operation(
            "test", "POST", "/p", "", "", Scope.VIEW, self._handle, repeatable=True, strict=strict
        )  # fmt: skip
        self._middleware = idempotency_middleware(
            Idempotency(MemoryReplays()), operation_of=lambda _: operation, body_limit=100
        )
        self._app = web.Application()

    async def _handle(self, request: web.Request) -> web.StreamResponse:
        self.runs += 1
        await self.may_end.wait()
        if self.error is not None:
            raise self.error
        return web.Response(body=b"done")

    @asynccontextmanager
    async def ready(self) -> AsyncIterator[Bench]:
        """Around everything that is sent."""
        async with asynccontextmanager(finishing)(self._app):
            yield self

    async def send(self) -> web.Response:
        """The same request, once more."""
        request = request_to(self._app, "POST", "/p", {"Idempotency-Key": "k"})
        request[CALLER] = Caller("token:t1", frozenset({Scope.VIEW}), "t1")
        request[HELD_BODY] = b"{}"
        response: web.Response = await self._middleware(request, self._handle)
        return response


async def test_a_client_that_hangs_up_is_told_later() -> None:
    """Its request goes on; the repetition gets the answer and nothing is done twice."""
    async with Bench().ready() as bench:
        bench.may_end.clear()
        first = asyncio.ensure_future(bench.send())
        while not bench.runs:
            await asyncio.sleep(0)
        first.cancel()
        with pytest.raises(asyncio.CancelledError):
            await first
        with pytest.raises(RequestFault):
            await bench.send()
        bench.may_end.set()
        while (answer := await _try(bench)) is None:
            await asyncio.sleep(0)
        assert answer.headers["Idempotency-Replayed"] == "true"
        assert bench.runs == 1


async def _try(bench: Bench) -> web.Response | None:
    try:
        return await bench.send()
    except RequestFault:
        return None


@pytest.mark.parametrize("strict", [False, True])
async def test_a_refusal_frees_the_key(strict: bool) -> None:
    """Nothing was done, so it may be tried again with the same key."""
    async with Bench(strict=strict).ready() as bench:
        bench.error = Refused("no", remedy="wait")
        with pytest.raises(Refused):
            await bench.send()
        bench.error = None
        assert (await bench.send()).body == b"done"
        assert bench.runs == 2


async def test_an_open_outcome_uses_up_the_key_of_a_strict_operation() -> None:
    """The receiver may have heard it: the error is the answer from then on."""
    async with Bench(strict=True).ready() as bench:
        bench.error = NoAnswer("silence", remedy="look")
        with pytest.raises(NoAnswer):
            await bench.send()
        bench.error = None
        again = await bench.send()
        assert (again.status, again.content_type) == (504, "application/problem+json")
        assert bench.runs == 1


async def test_an_open_outcome_frees_the_key_of_any_other() -> None:
    """A snapshot that met a silent receiver is simply taken again."""
    async with Bench().ready() as bench:
        bench.error = NoAnswer("silence", remedy="look")
        with pytest.raises(NoAnswer):
            await bench.send()
        bench.error = None
        assert (await bench.send()).status == 200


async def test_what_runs_at_the_end_is_cancelled() -> None:
    """A stop does not wait for a receiver that never answers; nothing is left running."""
    async with Bench().ready() as bench:
        bench.may_end.clear()
        left = asyncio.ensure_future(bench.send())
        while not bench.runs:
            await asyncio.sleep(0)
    with pytest.raises(asyncio.CancelledError):
        await left
