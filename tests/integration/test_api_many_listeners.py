"""Fifty listeners read, five take nothing: those are cut loose, and nobody else notices. A slow one gets everything."""

from __future__ import annotations

import asyncio
import contextlib
import socket

import aiohttp

from gateway.api.limits import Limits
from gateway.clock import SystemClock
from gateway.domain.events import EventDraft, EventName
from gateway.ports import Commit
from tests.fakes.api_bench import ApiBench, Client

_PATH = "/api/v1/events/stream?last_event_id=m1-0"
READERS, LAZY, EVENTS = 50, 5, 500


async def _read(client: Client, session: aiohttp.ClientSession) -> list[bytes]:
    """The ids of all events, in the order in which they came."""
    found: list[bytes] = []
    async with session.get(client.base + _PATH, headers=client.headers) as answer:
        assert answer.status == 200
        async for line in answer.content:
            if line.startswith(b"id: "):
                found.append(line[4:].strip())
            if len(found) == EVENTS:
                break
    return found


async def _sleep_on(client: Client, stack: contextlib.ExitStack) -> socket.socket:
    """A client that asks and reads nothing."""
    lazy = stack.enter_context(socket.socket())
    lazy.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
    lazy.setblocking(False)
    loop = asyncio.get_running_loop()
    await loop.sock_connect(lazy, ("127.0.0.1", int(client.base.rpartition(":")[2])))
    head = f"GET {_PATH} HTTP/1.1\r\nHost: localhost\r\nAuthorization: {client.headers['Authorization']}\r\n\r\n"
    await loop.sock_sendall(lazy, head.encode())
    return lazy


async def test_slow_ones_are_cut_loose_and_fifty_get_everything() -> None:
    """Half a megabyte each, in real time with real sockets; a lazy one is dropped after six seconds of taking none."""
    bench = ApiBench(clock=SystemClock(), limits=Limits(stalled_s=6.0))
    drafts = tuple(EventDraft(EventName.INPUT_CHANGED, "slip-gate", {"pad": "x" * 1000}) for _ in range(EVENTS))
    await bench.store.journal.commit(Commit(events=drafts))
    async with bench.served("view") as client:
        with contextlib.ExitStack() as stack:
            for _ in range(LAZY):
                await _sleep_on(client, stack)
            async with aiohttp.ClientSession(connector=aiohttp.TCPConnector(limit=0)) as session, asyncio.timeout(100):
                found = await asyncio.gather(*(_read(client, session) for _ in range(READERS)))
                wanted = [f"m1-{number}".encode() for number in range(1, EVENTS + 1)]
                assert all(ids == wanted for ids in found)
                dropped = f"gatepost_dropped_streams_total {LAZY}.0".encode()
                while dropped not in (await client.get("/metrics")).body:
                    await asyncio.sleep(0.1)
                assert (await client.get("/api/v1/gateway")).status == 200


async def test_who_takes_it_slowly_and_steadily_gets_everything() -> None:
    """Some 100 kB a second: each batch takes longer to leave than the gateway waits for it in one go."""
    bench = ApiBench(clock=SystemClock())
    drafts = tuple(EventDraft(EventName.INPUT_CHANGED, "slip-gate", {"pad": "x" * 1000}) for _ in range(EVENTS))
    await bench.store.journal.commit(Commit(events=drafts))
    async with bench.served("view") as client:
        with contextlib.ExitStack() as stack:
            slow = await _sleep_on(client, stack)
            taken, last = bytearray(), f"id: m1-{EVENTS}\n".encode()
            while last not in taken[-8192:]:
                piece = await asyncio.get_running_loop().sock_recv(slow, 4096)
                assert piece, f"cut loose after {len(taken)} bytes"
                taken += piece
                await asyncio.sleep(0.03)
    assert [taken.count(f"id: m1-{number}\n".encode()) for number in range(1, EVENTS + 1)] == [1] * EVENTS
