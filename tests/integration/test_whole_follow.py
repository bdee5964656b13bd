"""`gatepost follow` and many listeners on a running daemon.

Cuts lose and double nothing, and nobody waits for a listener that does not read.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import aiohttp
import httpx
import pytest
from httpx_sse import aconnect_sse

from tests.integration.yard import Daemon, Yard, open_yard, until

LISTENERS, SLEEPERS, PRESSES = 50, 4, 60


@pytest.fixture
def yard() -> Iterator[Yard]:
    """A receiver, and nobody in it."""
    with open_yard() as found:
        found.write_settings(baud=115200, roster="")
        found.line("quayside", "--baud", "115200")
        daemon = found.start()
        daemon.wait_link("slip-gate", "online")
        yield found


@contextlib.contextmanager
def _following(yard: Yard, name: str, *more: str) -> Iterator[Path]:
    """The command, running; the file that it writes to. It ends with the body."""
    path = yard.folder / name
    environment = {**os.environ, "GATEPOST_SOCKET": str(yard.socket), "PYTHONUNBUFFERED": "1", "COLUMNS": "200"}
    with path.open("wb") as output:
        process = subprocess.Popen(
            [sys.executable, "-m", "gateway", "follow", *more],
            stdout=output, stderr=subprocess.STDOUT, stdin=subprocess.DEVNULL, env=environment,
        )  # fmt: skip
        try:
            yield path
            assert process.poll() is None, path.read_text()
        finally:
            process.terminate()
            process.wait(15)


def _press(yard: Yard, first: int, count: int) -> None:
    for serial in range(first, first + count):
        yard.lines["quayside"].tell(f"press {serial:010d} 1")


def _heard(daemon: Daemon) -> list[str]:
    return [event["data"]["serial"] for event in daemon.events() if event["type"].endswith("transmitter.heard")]


def test_follow_goes_on_over_a_kill(yard: Yard) -> None:
    """Killed and restarted twice under its eyes: every event once and in order, also those of the times between."""
    daemon = yard.daemon
    _press(yard, 1, 3)
    until(lambda: len(_heard(daemon)) == 3, "the first presses")
    arguments = ("--json", "--since", "1h", "--kind", "transmitter.heard")
    with (
        _following(yard, "all", *arguments) as path,
        _following(yard, "one", "--since", "1h", "--holder", "0000000002"),
    ):
        until(lambda: len(path.read_text().splitlines()) == 3, "what had happened before")
        until((yard.folder / "one").read_text, "the one that was asked for")
        for start in (101, 201):
            daemon.kill()
            _press(yard, start, 10)
            daemon.start()
            until(lambda start=start: f"{start + 9:010d}" in _heard(daemon), "what was pressed meanwhile")  # type: ignore[misc]
        _press(yard, 301, 5)
        until(lambda: "0000000305" in path.read_text(), "the last of them")
        found = [json.loads(line) for line in path.read_text().splitlines()]
    assert [event["data"]["serial"] for event in found] == _heard(daemon)
    assert len({event["id"] for event in found}) == len(found) == 28
    shown = (yard.folder / "one").read_text().splitlines()
    assert len(shown) == 1
    assert "0000000002" in shown[0]


def test_what_follow_can_not_do_is_said(yard: Yard) -> None:
    """A kind, a gate or a time that is none; two beginnings."""
    for wrong, words in (
        (("--kind", "gossip"), "no kind of event"),
        (("--since", "yesterday"), "how long ago"),
        (("--gate", "boathouse"), "no gate"),
        (("--since", "1h", "--after", "x-1"), "exclude each other"),
        (("--after", "nonsense"), "is no event's id"),
    ):
        done = yard.run("follow", *wrong)
        assert done.code == 2, done.said
        assert words in done.said


def test_fifty_listeners_and_a_few_that_never_read(yard: Yard) -> None:
    """Each of the fifty gets every event once and in order, while four beside them read nothing."""
    daemon = yard.daemon
    secret = daemon.post("/tokens", {"name": "listeners", "scopes": ["view"]}).json()["secret"]
    start = daemon.get("/gateway")["journal"]["newest"]
    headers = {"Authorization": f"Bearer {secret}", "Last-Event-ID": start}
    address = daemon.address

    async def listen_httpx() -> list[str]:
        async with (
            httpx.AsyncClient(timeout=50) as client,
            aconnect_sse(client, "GET", f"{address}/api/v1/events/stream", headers=headers) as source,
        ):
            found: list[str] = []
            async for event in source.aiter_sse():
                if event.event == "transmitter.heard":
                    found.append(event.json()["data"]["serial"])
                if len(found) == PRESSES:
                    return found
        return found

    async def listen_aiohttp(session: aiohttp.ClientSession) -> list[str]:
        found: list[str] = []
        async with session.get(f"{address}/api/v1/events/stream", headers=headers) as answer:
            assert answer.status == 200
            async for line in answer.content:
                if line.startswith(b"data:") and b"transmitter.heard" in line:
                    found.append(json.loads(line[5:])["data"]["serial"])
                if len(found) == PRESSES:
                    return found
        return found

    async def all_of_them() -> list[list[str]]:
        async with aiohttp.ClientSession(connector=aiohttp.TCPConnector(limit=0)) as session:
            listening = [asyncio.create_task(listen_aiohttp(session)) for _ in range(LISTENERS // 2)]
            listening += [asyncio.create_task(listen_httpx()) for _ in range(LISTENERS // 2)]
            await asyncio.to_thread(until, lambda: _streams(daemon) >= LISTENERS + SLEEPERS, "all of them listening")
            await asyncio.to_thread(_press, yard, 1, PRESSES)
            async with asyncio.timeout(45):
                return list(await asyncio.gather(*listening))

    with contextlib.ExitStack() as stack:
        for _ in range(SLEEPERS):
            stack.enter_context(_sleeper(address, headers))
        found = asyncio.run(all_of_them())
        assert daemon.get("/gateway")["journal"]["newest"]
    wanted = [f"{serial:010d}" for serial in range(1, PRESSES + 1)]
    assert found == [wanted] * LISTENERS
    until(lambda: _streams(daemon) == 0, "all of them gone")


@contextlib.contextmanager
def _sleeper(address: str, headers: dict[str, str]) -> Iterator[socket.socket]:
    """A client that asks for a stream and never reads a byte of it."""
    host, _, port = address.removeprefix("http://").partition(":")
    with socket.socket() as peer:
        peer.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        peer.connect((host, int(port)))
        lines = [f"{name}: {value}\r\n" for name, value in headers.items()]
        peer.sendall(f"GET /api/v1/events/stream HTTP/1.1\r\nHost: {host}:{port}\r\n{''.join(lines)}\r\n".encode())
        yield peer


def _streams(daemon: Daemon) -> int:
    text = daemon.client.get("http://localhost/metrics").text
    (line,) = [line for line in text.splitlines() if line.startswith("gatepost_event_streams ")]
    return int(float(line.split()[1]))
