"""What only shows in raw bytes: broken requests, limits of the connection, headers of every answer."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator

import pytest

from gateway.api.limits import Limits
from gateway.errors import GatepostError
from tests.fakes.api_bench import ApiBench, Client
from tests.fakes.clock import FakeClock

_SECURITY = (
    "content-security-policy",
    "cross-origin-opener-policy",
    "referrer-policy",
    "x-content-type-options",
    "cache-control",
)


@pytest.fixture
async def client() -> AsyncIterator[Client]:
    async with ApiBench().served("admin") as found:
        yield found


async def _raw(client: Client, request: bytes) -> tuple[int, dict[str, str], bytes]:
    """Send bytes as they are, read until the other side hangs up."""
    reader, writer = await asyncio.open_connection("127.0.0.1", int(client.base.rpartition(":")[2]))
    writer.write(request)
    answer = await reader.read()
    writer.close()
    await writer.wait_closed()
    head, _, body = answer.partition(b"\r\n\r\n")
    status, *lines = head.decode().split("\r\n")
    pairs = [line.partition(": ") for line in lines]
    return int(status.split()[1]), {name.lower(): text for name, _, text in pairs}, body


@pytest.mark.parametrize(
    "request_bytes",
    [
        b"GET / HTTP/1.1\r\nHost: localhost\r\nBad Header: x\r\n\r\n",
        b"NONSENSE\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03",
        b"GET / HTTP/1.1\r\nHost: localhost\r\nContent-Length: x\r\n\r\n",
    ],
)
async def test_what_the_parser_refuses_is_a_problem_too(client: Client, request_bytes: bytes) -> None:
    """400 as a problem document, without a word of the program's version or of what was sent."""
    status, headers, body = await _raw(client, request_bytes)
    assert status == 400
    assert headers["content-type"] == "application/problem+json"
    assert json.loads(body)["type"] == "urn:gatepost:problem:request-malformed"
    assert "aiohttp" not in str(headers)
    assert "Python" not in str(headers)


@pytest.mark.parametrize(
    ("line", "hosts"),
    [
        ("GET /healthz HTTP/1.1", ""),
        ("GET /healthz HTTP/1.1", "Host: localhost\r\nHost: rebound.example\r\n"),
        ("GET http://rebound.example/healthz HTTP/1.1", "Host: localhost\r\n"),
    ],
)
async def test_hosts_that_play_tricks(client: Client, line: str, hosts: str) -> None:
    """No Host, two of them, or another one in the request target (RFC 9112, 3.2): not answered."""
    status, _, _ = await _raw(client, f"{line}\r\n{hosts}Connection: close\r\n\r\n".encode())
    assert status in (400, 421)


async def test_a_header_of_8_kib_and_no_more(client: Client) -> None:
    """Many small fields are limited as one large one is."""
    fields = "".join(f"X-Pad-{number}: {'a' * 100}\r\n" for number in range(90))
    request = f"GET /healthz HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n{fields}\r\n"
    status, headers, body = await _raw(client, request.encode())
    assert (status, headers["connection"]) == (431, "close")
    assert json.loads(body)["type"] == "urn:gatepost:problem:header-too-large"


@pytest.mark.parametrize("long", ["/" + "a" * 20_000 + " HTTP/1.1\r\nX: y", "/ HTTP/1.1\r\nX: " + "a" * 20_000])
async def test_a_line_that_the_parser_does_not_finish(client: Client, long: str) -> None:
    """An address or a field of its own that is longer than a header may be is told as that (RFC 6585, section 5)."""
    status, _, body = await _raw(client, f"GET {long}\r\nHost: localhost\r\n\r\n".encode())
    assert status == 431
    assert json.loads(body)["type"] == "urn:gatepost:problem:header-too-large"


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("GET", "/healthz", 200),
        ("GET", "/nothing", 404),
        ("DELETE", "/api/v1/receivers", 405),
        ("GET", "/api/v1/receivers/none", 404),
        ("GET", "/api/v1/receivers", 200),
        ("POST", "/api/v1/tokens", 422),
    ],
)
async def test_every_answer_has_the_security_headers(client: Client, method: str, path: str, status: int) -> None:
    """OWASP secure headers; no Server header; no CORS."""
    reply = await client.ask(method, path)
    assert reply.status == status
    for name in _SECURITY:
        assert name in reply.headers
    assert "Server" not in reply.headers
    assert "Access-Control-Allow-Origin" not in reply.headers


async def test_the_router_s_refusals_are_problems(client: Client) -> None:
    """404 and 405 as problem documents, and Allow is kept (RFC 9110, 15.5.6)."""
    lost = await client.get("/api/v2/receivers")
    assert (lost.status, lost.problem) == (404, "route-not-found")
    odd = await client.ask("DELETE", "/api/v1/plans")
    assert (odd.status, odd.problem) == (405, "method-not-allowed")
    assert odd.headers["Allow"] == "GET,HEAD,POST"


async def test_head_is_get_without_a_body(client: Client) -> None:
    """RFC 9110, 9.3.2, with the same scope needed."""
    reply = await client.ask("HEAD", "/api/v1/receivers")
    assert (reply.status, reply.body) == (200, b"")
    assert int(reply.headers["Content-Length"]) > 2
    assert (await client.ask("HEAD", "/api/v1/receivers", headers={"Authorization": "Bearer bad"})).status == 401


async def test_what_nobody_expected_is_told_without_a_trace(monkeypatch: pytest.MonkeyPatch) -> None:
    """500 as a problem document that has nothing of the error's text."""
    bench = ApiBench()

    def fail() -> None:
        raise RuntimeError("canary 0048231907")

    monkeypatch.setattr(bench.live, "receivers", fail)
    async with bench.served("view") as client:
        reply = await client.get("/api/v1/receivers")
    assert (reply.status, reply.problem) == (500, "internal")
    assert b"canary" not in reply.body
    assert b"Traceback" not in reply.body


async def test_an_error_without_a_class_of_its_own_is_500(monkeypatch: pytest.MonkeyPatch) -> None:
    """Even a base error has a problem document."""
    bench = ApiBench()

    def fail() -> None:
        raise GatepostError("odd")

    monkeypatch.setattr(bench.live, "receivers", fail)
    async with bench.served("view") as client:
        reply = await client.get("/api/v1/receivers")
    assert (reply.status, reply.json["detail"]) == (500, "odd")


async def test_connections_are_limited() -> None:
    """One too many gets a short 503 and is hung up; when one goes there is room again."""
    bench = ApiBench(limits=Limits(connections=3))
    async with bench.served() as client:
        port = int(client.base.rpartition(":")[2])
        held = [await asyncio.open_connection("127.0.0.1", port) for _ in range(3)]
        for reader, writer in held:
            writer.write(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n")
            assert (await reader.readline()).startswith(b"HTTP/1.1 200")
        reader, writer = await asyncio.open_connection("127.0.0.1", port)
        assert (await reader.read()).startswith(b"HTTP/1.1 503")
        writer.close()
        await writer.wait_closed()
        for _, held_writer in held:
            held_writer.close()
            await held_writer.wait_closed()
        await asyncio.sleep(0.01)
        assert (await client.get("/healthz")).status == 200


async def test_silent_connections_do_not_take_the_room() -> None:
    """Who sends no whole request head in 10 s (virtual time) is hung up; who has sent one stays."""
    clock = FakeClock()
    async with ApiBench(clock=clock).served() as client:
        port = int(client.base.rpartition(":")[2])
        silent_reader, silent = await asyncio.open_connection("127.0.0.1", port)
        half_reader, half = await asyncio.open_connection("127.0.0.1", port)
        half.write(b"GET /healthz HTTP/1.1\r\nHost: loc")
        good_reader, good = await asyncio.open_connection("127.0.0.1", port)
        good.write(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert (await good_reader.readline()).startswith(b"HTTP/1.1 200")
        await clock.advance(10)
        assert await silent_reader.read() == b""
        assert await half_reader.read() == b""
        good.write(b"GET /healthz HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")
        assert b"HTTP/1.1 200" in await good_reader.read()
        for writer in (silent, half, good):
            writer.close()
            await writer.wait_closed()
