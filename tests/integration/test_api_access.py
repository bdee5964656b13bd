"""Who gets in: every route against every kind of caller, foreign hosts, guessing, and the socket on the board."""

from __future__ import annotations

import os
import re
import socket
import stat
from collections.abc import AsyncIterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import aiohttp
import pytest

from gateway.api.limits import Limits
from gateway.api.listeners import TcpListener, UnixListener
from gateway.api.openapi import build_document
from gateway.api.routes import OPERATIONS
from gateway.api.scopes import Scope, widen
from gateway.errors import Refused
from tests.fakes.api_bench import SECRET_HOLDER, ApiBench, Client, Reply
from tests.fakes.clock import FakeClock

DOCUMENT = build_document(OPERATIONS, version="0.1.0")
CALLERS = ("none", "bad", "view", "roster", "operate", "admin")


@dataclass(frozen=True)
class Route:
    """One operation of the document, with a request that fits it."""

    id: str
    method: str
    path: str
    scope: Scope | None
    body: Any
    query: dict[str, str]
    statuses: frozenset[str] = frozenset()


#: Questions that need one of several parameters, which a schema of single parameters can't say.
_ASKED = {"getHistory": {"serial": "0048231907"}, "getRevocationSelection": {"holder": SECRET_HOLDER}}


def _routes() -> list[Route]:
    found = []
    for path, item in DOCUMENT["paths"].items():
        for method, operation in item.items():
            needed = [each["bearer"][0] for each in operation["security"]]
            found.append(
                Route(
                    operation["operationId"],
                    method.upper(),
                    _fill(path),
                    Scope(needed[0]) if needed else None,
                    _body(operation),
                    {
                        each["name"]: "lost and found"
                        for each in operation.get("parameters", [])
                        if each["in"] == "query" and each["required"]
                    }
                    | _ASKED.get(operation["operationId"], {}),
                    frozenset(operation["responses"]),
                )
            )
    return found


#: What stands for a name in a path; any other is some id that there is not.
_PLACES = {"output": "1", "number": "1"}


def _fill(path: str) -> str:
    place = "p-held" if "/plans/" in path else "slip-gate" if "/receivers/" in path else "t99"
    path = path.replace("{id}", place).replace("{serial}", "0048231907")
    return re.sub(r"\{(\w+)\}", lambda name: _PLACES.get(name[1], "x1"), path)


def _body(operation: dict[str, Any]) -> Any:
    content = operation.get("requestBody", {}).get("content", {})
    if "application/json" not in content:
        return None
    name = content["application/json"]["schema"]["$ref"].rpartition("/")[2]
    examples = DOCUMENT["components"]["schemas"][name].get("examples")
    return examples[0] if examples else {}


ROUTES = _routes()


@pytest.fixture
async def client() -> AsyncIterator[tuple[ApiBench, Client]]:
    """The API with room for many wrong tokens."""
    bench = ApiBench(limits=Limits(failures=1000))
    async with bench.served() as found:
        yield bench, found


async def _ask(client: Client, route: Route, headers: dict[str, str]) -> Reply:
    """The answer; of a stream only its head."""
    async with client.session.request(
        route.method, route.path, json=route.body, params=route.query, headers=headers
    ) as response:
        streams = response.headers["Content-Type"].startswith("text/event-stream") if response.status == 200 else False
        return Reply(response.status, response.headers.copy(), b"" if streams else await response.read())


#: Routes that ask for more than their scope: a replacement needs `admin`, clearing needs the board.
FINER = frozenset(
    {
        ("startRestore", "scope-insufficient"),
        ("previewRestore", "scope-insufficient"),
        ("resetReceiver", "board-only"),
    }
)


@pytest.mark.parametrize("route", ROUTES, ids=lambda route: route.id)
async def test_authorisation_matrix(client: tuple[ApiBench, Client], route: Route) -> None:
    """OWASP API1, 3 and 5: each route refuses all but the callers whose scopes contain the one it names.

    Every answer has a status that the document tells of.
    """
    bench, found = client
    for caller in CALLERS:
        secret = {"none": "", "bad": "wrong-secret"}.get(caller) if caller in ("none", "bad") else None
        if secret is None:
            secret = await bench.token(caller)
        reply = await _ask(found, route, {"Authorization": f"Bearer {secret}"} if secret else {})
        assert str(reply.status) in route.statuses, (caller, reply.status)
        if route.scope is None:
            assert reply.status == 200, caller
        elif caller == "none":
            assert (reply.status, reply.problem) == (401, "token-missing")
        elif caller == "bad":
            assert (reply.status, reply.problem) == (401, "token-invalid")
        elif route.scope not in widen([caller]):
            assert (reply.status, reply.problem) == (403, "scope-insufficient"), caller
        elif reply.status == 403:
            assert (route.id, reply.problem) in FINER, (caller, reply.body)
        else:
            assert reply.status not in (401, 405), (caller, reply.body)
            assert reply.status < 500, (caller, reply.body)
            assert reply.status != 422, (caller, reply.body)


def test_only_health_and_the_contact_are_open() -> None:
    """The routes without a token."""
    opened = [route.path for route in ROUTES if route.scope is None]
    assert opened == ["/healthz", "/healthz/live", "/healthz/ready", "/.well-known/security.txt"]


@pytest.mark.parametrize("route", [*ROUTES, Route("none", "GET", "/nothing", None, None, {})], ids=lambda r: r.id)
async def test_a_foreign_host_is_refused_everywhere(client: tuple[ApiBench, Client], route: Route) -> None:
    """DNS rebinding: 421 (RFC 9110, 15.5.20) on every route and method, with the right token too."""
    bench, found = client
    secret = await bench.token("admin")
    for method in (route.method, "OPTIONS", "HEAD"):
        headers = {"Host": "rebound.example:8470", "Authorization": f"Bearer {secret}"}
        async with found.session.request(method, route.path, headers=headers) as response:
            assert response.status == 421
            assert "Server" not in response.headers
    assert not bench.audit.rows


async def test_our_own_and_configured_hosts_are_answered(client: tuple[ApiBench, Client]) -> None:
    """With and without a port, and whatever the case."""
    for host in ("localhost", "LOCALHOST:1", "127.0.0.1:8470", "[::1]:8470", "Gate.Fennel-Quay.example"):
        assert (await client[1].get("/healthz", headers={"Host": host})).status == 200


async def test_bearer_headers(client: tuple[ApiBench, Client]) -> None:
    """RFC 6750, section 3.1: no error code without a token, invalid_token, insufficient_scope with the scope."""
    bench, found = client
    path = "/api/v1/tokens"
    none = await found.get(path)
    assert none.headers["WWW-Authenticate"] == 'Bearer realm="gatepost"'
    bad = await found.get(path, headers={"Authorization": "Bearer nonsense"})
    assert bad.headers["WWW-Authenticate"] == 'Bearer realm="gatepost", error="invalid_token"'
    low = await found.get(path, headers={"Authorization": f"bearer {await bench.token('view')}"})
    assert low.headers["WWW-Authenticate"] == 'Bearer realm="gatepost", error="insufficient_scope", scope="admin"'
    for odd in ("Basic YTpi", "Bearer", "Bearer a b", "Bearer a,b"):
        malformed = await found.get(path, headers={"Authorization": odd})
        assert malformed.status == 400
        assert malformed.headers["WWW-Authenticate"] == 'Bearer realm="gatepost", error="invalid_request"'


async def test_no_token_in_the_address(client: tuple[ApiBench, Client]) -> None:
    """RFC 6750, 2.3, is not offered: addresses end up in logs."""
    bench, found = client
    secret = await bench.token("admin")
    assert (await found.get(f"/api/v1/tokens?access_token={secret}")).status == 401


async def test_guessing_is_shut_out_and_good_clients_are_not() -> None:
    """Ten wrong tokens in a minute, then 429; who was good before goes on, who is new waits the minute out."""
    clock = FakeClock()
    bench = ApiBench(clock=clock)
    async with bench.served("view") as client:
        fresh = {"Authorization": f"Bearer {await bench.token('view')}"}
        wrong = {"Authorization": "Bearer wrong"}
        assert (await client.get("/api/v1/gateway")).status == 200
        for _ in range(10):
            assert (await client.get("/api/v1/gateway", headers=wrong)).status == 401
        shut = await client.get("/api/v1/gateway", headers=wrong)
        assert (shut.status, shut.problem, shut.headers["Retry-After"]) == (429, "too-many-failures", "60")
        assert (await client.get("/api/v1/gateway", headers=fresh)).status == 429
        assert (await client.get("/api/v1/gateway")).status == 200
        assert b"gatepost_refused_tokens_total 12.0" in (await client.get("/metrics")).body
        await clock.advance(60)
        assert (await client.get("/api/v1/gateway", headers=fresh)).status == 200


async def test_the_board_s_own_socket_needs_no_token(tmp_path: Path) -> None:
    """Our own uid is admin there and is named in the audit; the file is for owner and group and goes at the end."""
    bench = ApiBench()
    path = tmp_path / "api.sock"
    async with bench.served(listeners=[UnixListener(path)]):
        assert stat.S_IMODE(path.stat().st_mode) == 0o660
        async with aiohttp.ClientSession("http://localhost", connector=aiohttp.UnixConnector(str(path))) as session:
            async with session.post("/api/v1/tokens", json={"name": "first", "scopes": ["admin"]}) as response:
                assert response.status == 201
                assert (await response.json())["secret"]
            async with session.get("/api/v1/gateway", headers={"Authorization": "Bearer wrong"}) as response:
                assert response.status == 401
            async with session.get("/api/v1/gateway", headers={"Host": "rebound.example"}) as response:
                assert response.status == 421
    assert {row.who for row in bench.audit.rows} == {f"local:{os.getuid()}"}
    assert not path.exists()


async def test_another_uid_on_the_socket_needs_a_token(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Who is neither root nor ours nor configured is nobody there."""
    monkeypatch.setattr("gateway.api.auth.peer_uid", lambda _: 12345)
    bench = ApiBench()
    path = tmp_path / "api.sock"
    async with (
        bench.served(listeners=[UnixListener(path)]),
        aiohttp.ClientSession("http://localhost", connector=aiohttp.UnixConnector(str(path))) as session,
    ):
        async with session.get("/api/v1/gateway") as response:
            assert response.status == 401
        headers = {"Authorization": f"Bearer {await bench.token('view')}"}
        async with session.get("/api/v1/gateway", headers=headers) as response:
            assert response.status == 200


async def test_a_socket_left_over_is_replaced_and_one_in_use_is_not(tmp_path: Path) -> None:
    """After a crash the file is still there; another daemon's must stay."""
    path = tmp_path / "api.sock"
    async with ApiBench().served(listeners=[UnixListener(path)]):
        with pytest.raises(Refused) as fault:
            async with ApiBench().served(listeners=[UnixListener(path)]):
                raise AssertionError("two daemons on one socket")
        assert fault.value.code == "address-in-use"
        assert path.exists()
    with socket.socket(socket.AF_UNIX) as left:
        left.bind(str(path))
    async with ApiBench().served(listeners=[UnixListener(path)]):
        assert path.exists()


async def test_an_address_that_is_taken_says_so() -> None:
    """The start stops with a sentence, and nothing is served."""
    async with ApiBench().served("view") as client:
        port = int(client.base.rpartition(":")[2])
        with pytest.raises(Refused, match="Another program listens"):
            async with ApiBench().served(listeners=[TcpListener("127.0.0.1", port)]):
                raise AssertionError("two servers on one port")


async def test_behind_a_proxy_each_client_is_counted_by_itself() -> None:
    """The last address of X-Forwarded-For is the proxy's word; what the client wrote before it counts nothing."""
    bench = ApiBench(limits=Limits(failures=2))
    wrong = {"Authorization": "Bearer wrong"}
    async with bench.served("view", behind_proxy=True) as client:
        for made_up in ("10.0.0.1", "10.0.0.2", "10.0.0.3"):
            headers = {**wrong, "X-Forwarded-For": f"{made_up}, 192.0.2.7"}
            last = await client.get("/api/v1/gateway", headers=headers)
        assert last.status == 429
        assert (await client.get("/api/v1/gateway", headers={"X-Forwarded-For": "192.0.2.8"})).status == 200
        assert (await client.get("/api/v1/gateway", headers={**wrong, "X-Forwarded-For": "192.0.2.8"})).status == 401
        assert (await client.get("/api/v1/gateway", headers={**wrong, "X-Forwarded-For": "nonsense"})).status == 401


async def test_without_a_proxy_nobody_s_word_counts() -> None:
    """A guesser that names a new address each time is shut out all the same."""
    bench = ApiBench(limits=Limits(failures=2))
    async with bench.served() as client:
        answers = [
            await client.get(
                "/api/v1/gateway", headers={"Authorization": "Bearer wrong", "X-Forwarded-For": f"192.0.2.{number}"}
            )
            for number in range(3)
        ]
    assert [answer.status for answer in answers] == [401, 401, 429]


async def test_a_caller_that_asks_too_often_waits() -> None:
    """429 with the time to wait; another token is served meanwhile, and the first one again after it."""
    clock = FakeClock()
    bench = ApiBench(clock=clock, limits=Limits(requests_per_minute=60))
    async with bench.served("view") as client:
        other = {"Authorization": f"Bearer {await bench.token('view')}"}
        answers = [await client.get("/api/v1/gateway") for _ in range(61)]
        assert [answer.status for answer in answers] == [200] * 60 + [429]
        assert (answers[-1].problem, answers[-1].headers["Retry-After"]) == ("too-many-requests", "1")
        assert (await client.get("/api/v1/gateway", headers=other)).status == 200
        await clock.advance(1)
        assert (await client.get("/api/v1/gateway")).status == 200
