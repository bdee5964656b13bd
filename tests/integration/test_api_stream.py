"""The event stream over real connections, read by an independent client (httpx with httpx-sse)."""

from __future__ import annotations

import asyncio
import json
import os
import random
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import httpx
import pytest
from httpx_sse import ServerSentEvent, aconnect_sse

from gateway.api.limits import Limits
from gateway.clock import SystemClock
from gateway.domain.events import EventDraft, EventName
from gateway.errors import StoreUnavailable
from gateway.ports import Commit
from tests.fakes.api_bench import ApiBench, Client
from tests.fakes.clock import FakeClock

_PATH = "/api/v1/events/stream"
EVENTS = int(os.environ.get("GATEPOST_STREAM_EVENTS", "2000"))


@asynccontextmanager
async def _listening(
    client: Client, *, after: str | None = None, query: str = ""
) -> AsyncIterator[AsyncIterator[ServerSentEvent]]:
    headers = {**client.headers, **({"Last-Event-ID": after} if after else {})}
    async with (
        httpx.AsyncClient(base_url=client.base, timeout=20, verify=False) as http,
        aconnect_sse(http, "GET", _PATH + query, headers=headers) as source,
    ):
        source.response.raise_for_status()
        yield source.aiter_sse()


async def _take(events: AsyncIterator[ServerSentEvent], count: int) -> list[ServerSentEvent]:
    return [await anext(events) for _ in range(count)]


async def _opened(client: Client, count: int = 1) -> None:
    """Ask until so many streams are open on the server's side."""
    wanted = f"gatepost_event_streams {count}.0".encode()
    for _ in range(1000):
        if wanted in (await client.get("/metrics")).body:
            return
    raise AssertionError(f"there were never {count} streams")


@pytest.mark.timeout(60 + EVENTS // 50)
async def test_resuming_after_random_cuts_loses_and_doubles_nothing() -> None:
    """WHATWG HTML 9.2 with `Last-Event-ID`: over dozens of cuts events arrive once each and in order.

    GATEPOST_STREAM_EVENTS is how many, 2,000 unless told otherwise.
    """
    seed = random.randrange(1 << 32)
    chance = random.Random(seed)
    bench = ApiBench(clock=SystemClock())
    total, seen, cuts = EVENTS, list[str](), 0

    async def write() -> None:
        written = 0
        while written < total:
            many = min(chance.randint(1, 40), total - written)
            drafts = tuple(
                EventDraft(EventName.INPUT_CHANGED, "slip-gate", {"n": n}) for n in range(written, written + many)
            )
            await bench.store.journal.commit(Commit(events=drafts))
            written += many
            await asyncio.sleep(0.001)

    async with bench.served("view") as client, asyncio.TaskGroup() as group:
        group.create_task(write())
        last = "m1-0"
        while len(seen) < total:
            async with _listening(client, after=last) as events:
                wanted = min(chance.randint(1, 120), total - len(seen))
                for event in await _take(events, wanted):
                    body = json.loads(event.data)
                    assert (event.event, body["id"], body["data"]["n"]) == ("input.changed", event.id, len(seen))
                    seen.append(event.id)
                    last = event.id
            cuts += 1
    assert seen == [f"m1-{number}" for number in range(1, total + 1)], f"seed {seed}"
    assert cuts > 10, f"seed {seed}"


async def test_an_event_is_a_cloudevent_as_it_happens() -> None:
    """Without an id only news comes; type, subject and data are there, and the name of the event."""
    bench = ApiBench(clock=SystemClock())
    await bench.happen(EventName.LINK_LOST)
    async with bench.served("view") as client, _listening(client) as events:
        await _opened(client)
        await bench.happen(EventName.TRANSMITTER_HEARD, serial="0048231907", holder="Berth 12")
        (event,) = await _take(events, 1)
    body = json.loads(event.data)
    assert (event.id, event.event, event.retry) == ("m1-2", "transmitter.heard", 2000)
    assert (body["type"], body["subject"]) == ("local.gatepost.transmitter.heard", "slip-gate")
    assert body["data"] == {"serial": "0048231907"}


async def test_another_epoch_is_told_then_everything_kept_comes() -> None:
    """`journal.restarted` first, with an id that resumes rightly; then all that is kept."""
    bench = ApiBench(clock=SystemClock())
    for _ in range(5):
        await bench.happen(EventName.INPUT_CHANGED)
    bench.store.journal.prune(3)
    async with bench.served("view") as client:
        async with _listening(client, query="?last_event_id=old-17&name=input.changed") as events:
            told, *rest = await _take(events, 4)
        assert (told.event, told.id) == ("journal.restarted", "m1-2")
        assert json.loads(told.data)["data"] == {"reason": "other-epoch"}
        assert [event.id for event in rest] == ["m1-3", "m1-4", "m1-5"]
        async with _listening(client, after=told.id) as events:
            assert [event.id for event in await _take(events, 3)] == ["m1-3", "m1-4", "m1-5"]


async def test_an_id_that_is_none_is_refused() -> None:
    """400 before the stream begins, so that a client sees it."""
    async with ApiBench().served("view") as client:
        reply = await client.get(_PATH, headers={"Last-Event-ID": "nonsense"})
        assert (reply.status, reply.problem) == (400, "cursor-invalid")
        assert reply.json["errors"][0]["header"] == "Last-Event-ID"


async def test_filters() -> None:
    """Only the events of the names and receivers asked for."""
    bench = ApiBench(clock=SystemClock())
    async with (
        bench.served("view") as client,
        _listening(client, after="m1-0", query="?name=link.lost&receiver=car-park") as events,
    ):
        await bench.happen(EventName.LINK_LOST, "slip-gate")
        await bench.happen(EventName.INPUT_CHANGED, "car-park")
        await bench.happen(EventName.LINK_LOST, "car-park")
        (event,) = await _take(events, 1)
        assert event.id == "m1-3"


async def test_a_quiet_stream_has_heartbeats() -> None:
    """A comment every 15 s (virtual time), which is no event."""
    clock = FakeClock()
    bench = ApiBench(clock=clock)
    async with bench.served("view") as client, client.session.get(_PATH, headers=client.headers) as response:
        assert response.headers["Content-Type"] == "text/event-stream"
        assert response.headers["Cache-Control"] == "no-store"
        assert await response.content.readline() == b": gatepost events\n"
        assert await response.content.readline() == b"retry: 2000\n"
        for _ in range(3):
            await clock.advance(15)
            assert await response.content.readline() == b": still here\n"


async def test_no_more_streams_than_the_limit() -> None:
    """One too many is 503 with a time to come back; a stream that ended makes room."""
    bench = ApiBench(clock=SystemClock(), limits=Limits(streams=2))
    async with bench.served("view") as client:
        async with _listening(client), _listening(client):
            full = await client.get(_PATH)
            assert (full.status, full.problem) == (503, "streams-exhausted")
            assert int(full.headers["Retry-After"]) > 0
        await _opened(client, 0)
        async with _listening(client):
            pass


async def test_shutdown_waits_for_no_open_stream(monkeypatch: pytest.MonkeyPatch) -> None:
    """Clients that never hang up don't hold the gateway: a proper end, long before the time that requests are given."""
    monkeypatch.setattr("gateway.api.serving._SHUTDOWN_S", 3600.0)
    bench = ApiBench(clock=SystemClock())
    got: list[str] = []
    heard = asyncio.Semaphore(0)
    async with httpx.AsyncClient(timeout=20) as http, asyncio.TaskGroup() as group:

        async def listen(client: Client) -> None:
            async with aconnect_sse(http, "GET", client.base + _PATH, headers=client.headers) as source:
                async for event in source.aiter_sse():
                    got.append(event.event)
                    heard.release()

        async with bench.served("view") as client:
            for _ in range(5):
                group.create_task(listen(client))
            await _opened(client, 5)
            await bench.happen(EventName.GATEWAY_STOPPED)
            for _ in range(5):
                await heard.acquire()
    assert got == ["gateway.stopped"] * 5


async def test_a_client_that_never_reads_is_dropped() -> None:
    """Nothing taken for 30 s (virtual time): hung up, and little was read from the journal for it meanwhile."""
    clock = FakeClock()
    bench = ApiBench(clock=clock)
    drafts = tuple(EventDraft(EventName.INPUT_CHANGED, "slip-gate", {"pad": "x" * 1000}) for _ in range(5000))
    await bench.store.journal.commit(Commit(events=drafts))
    async with bench.served("view") as client:
        with socket.socket() as lazy:
            lazy.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            lazy.setblocking(False)
            loop = asyncio.get_running_loop()
            await loop.sock_connect(lazy, ("127.0.0.1", int(client.base.rpartition(":")[2])))
            head = f"GET {_PATH}?last_event_id=m1-0 HTTP/1.1\r\nHost: localhost\r\n"
            secret = f"Authorization: {client.headers['Authorization']}\r\n\r\n"
            await loop.sock_sendall(lazy, (head + secret).encode())
            await _opened(client)
            for _ in range(20):
                await clock.advance(15)
                if b"gatepost_dropped_streams_total 1.0" in (await client.get("/metrics")).body:
                    break
            else:
                raise AssertionError("still connected after five minutes without reading")
            taken = bytearray()
            try:
                while chunk := await loop.sock_recv(lazy, 65536):
                    taken += chunk
            except ConnectionResetError:
                pass
        await _opened(client, 0)
    assert len(taken) < 1_000_000


async def test_a_client_that_reads_slowly_is_not_dropped() -> None:
    """It takes some 10 KiB a second (virtual time), which needs longer than 30 s, and gets everything."""
    clock = FakeClock()
    bench = ApiBench(clock=clock)
    drafts = tuple(EventDraft(EventName.INPUT_CHANGED, "slip-gate", {"pad": "x" * 1000}) for _ in range(500))
    await bench.store.journal.commit(Commit(events=drafts))
    async with bench.served("view") as client:
        path = f"{_PATH}?last_event_id=m1-0"
        async with client.session.get(path, headers=client.headers, read_bufsize=4096) as response:
            seen = 0
            while seen < 500:
                line = await response.content.readline()
                if line.startswith(b"id: "):
                    seen += 1
                    assert line == f"id: m1-{seen}\n".encode()
                    await clock.advance(0.1)
        assert b"gatepost_dropped_streams_total 0.0" in (await client.get("/metrics")).body


async def test_a_removed_token_ends_its_stream() -> None:
    """Nothing more is told to somebody whose token is gone."""
    bench = ApiBench(clock=SystemClock())
    async with bench.served("view") as client, _listening(client) as events:
        await _opened(client)
        await bench.store.tokens.remove("t1")
        await bench.happen(EventName.LINK_LOST)
        assert [event async for event in events] == []


async def test_a_failing_store_hangs_up_cleanly(monkeypatch: pytest.MonkeyPatch) -> None:
    """The client sees a cut, never a second answer in the middle of the first, and can come back."""
    bench = ApiBench(clock=SystemClock())

    async def fail(*_: object, **__: object) -> None:
        raise StoreUnavailable("The disk fails.", remedy="Replace it.")

    async with bench.served("view") as client:
        with monkeypatch.context() as patch:
            patch.setattr(bench.store.journal, "read", fail)
            with pytest.raises(httpx.RemoteProtocolError):
                async with _listening(client, after="m1-0") as events:
                    await _take(events, 1)
        await bench.happen(EventName.LINK_LOST)
        async with _listening(client, after="m1-0") as events:
            assert (await anext(events)).id == "m1-1"
