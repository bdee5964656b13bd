"""Every answer that the OpenAPI document tells of the event stream, provoked once and held to the document.

The API's fuzzer leaves the stream out, for it waits for the end of an answer. So here each documented problem
has a request that meets it, and what streams is read by an independent client (httpx-sse) and checked by
jsonschema. WHATWG HTML, 9.2, has the form of the stream; RFC 9457 that of problems; RFC 9110 the statuses.
"""

from __future__ import annotations

import json
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from typing import Any

import httpx
import pytest
from httpx_sse import ServerSentEvent, aconnect_sse
from jsonschema import Draft202012Validator

from gateway.api.limits import Limits
from gateway.api.openapi import build_document, problem_statuses
from gateway.api.problem_types import PREFIX
from gateway.api.resources.stream import OPERATIONS as STREAM
from gateway.api.routes import OPERATIONS
from gateway.clock import SystemClock
from gateway.domain.events import EventName
from gateway.errors import StoreUnavailable
from tests.fakes.api_bench import ApiBench, Client, Reply

_DOCUMENT = build_document(OPERATIONS, version="0.1.0")
_PATH = "/api/v1/events/stream"
_DESCRIBED: dict[str, Any] = _DOCUMENT["paths"][_PATH]["get"]
_CODES = {code: status for status, codes in problem_statuses(STREAM[0]).items() for code in codes}

Provoking = Callable[[ApiBench, Client, pytest.MonkeyPatch], Awaitable[Reply]]


def _schema(name: str) -> Draft202012Validator:
    return Draft202012Validator({"$ref": f"#/components/schemas/{name}", "components": _DOCUMENT["components"]})


def _asking(query: str = "", **headers: str) -> Provoking:
    """A request with these headers, an underscore standing for a hyphen; an empty one is left out."""

    async def ask(_: ApiBench, client: Client, __: pytest.MonkeyPatch) -> Reply:
        sent = {**client.headers, **{name.replace("_", "-"): text for name, text in headers.items()}}
        kept = {name: text for name, text in sent.items() if text}
        async with client.session.get(_PATH + query, headers=kept) as response:
            return Reply(response.status, response.headers.copy(), await response.read())

    return ask


async def _without_scope(bench: ApiBench, client: Client, _: pytest.MonkeyPatch) -> Reply:
    """No scope is less than `view`, but a token may have none that this program knows."""
    return await client.get(_PATH, headers={"Authorization": f"Bearer {await bench.token('of-a-newer-program')}"})


async def _session(bench: ApiBench, client: Client) -> str:
    reply = await client.post("/api/v1/session", headers={"Authorization": f"Bearer {await bench.token('view')}"})
    client.session.cookie_jar.clear()
    cookie: str = reply.headers["Set-Cookie"].split(";")[0]
    return cookie


async def _from_elsewhere(bench: ApiBench, client: Client, patch: pytest.MonkeyPatch) -> Reply:
    cookie = await _session(bench, client)
    return await _asking(Authorization="", Cookie=cookie, Sec_Fetch_Site="cross-site")(bench, client, patch)


async def _signed_out(bench: ApiBench, client: Client, patch: pytest.MonkeyPatch) -> Reply:
    cookie = await _session(bench, client) + "x"
    return await _asking(Authorization="", Cookie=cookie, Sec_Fetch_Site="same-origin")(bench, client, patch)


async def _store_gone(bench: ApiBench, client: Client, patch: pytest.MonkeyPatch) -> Reply:
    def gone(*_: object) -> None:
        raise StoreUnavailable("The gateway can't keep anything just now.", remedy="Free space on the card.")

    patch.setattr(bench.store.tokens, "find", gone)
    return await client.get(_PATH)


async def _crash(bench: ApiBench, client: Client, patch: pytest.MonkeyPatch) -> Reply:
    patch.setattr("gateway.api.resources.stream.wanted_of", lambda *_: 1 // 0)
    return await client.get(_PATH)


async def _guessing(_: ApiBench, client: Client, __: pytest.MonkeyPatch) -> Reply:
    for _number in range(4):
        reply = await client.get(_PATH, headers={"Authorization": "Bearer wrong"})
    return reply


async def _too_often(_: ApiBench, client: Client, __: pytest.MonkeyPatch) -> Reply:
    replies = [await client.get("/api/v1/gateway") for _ in range(60)]
    assert replies[-1].status == 200
    return await client.get(_PATH)


async def _all_in_use(bench: ApiBench, client: Client, _: pytest.MonkeyPatch) -> Reply:
    async with _stream(client), _stream(client):
        return await client.get(_PATH)


_PROVOKED: dict[str, Provoking] = {
    "request-malformed": _asking(Authorization="Basic YTpi"),
    "cursor-invalid": _asking(Last_Event_ID="nonsense"),
    "token-missing": _asking(Authorization=""),
    "token-invalid": _asking(Authorization="Bearer wrong"),
    "session-ended": _signed_out,
    "scope-insufficient": _without_scope,
    "cross-site": _from_elsewhere,
    "host-not-allowed": _asking(Host="rebound.example"),
    "query-invalid": _asking("?name=gate.exploded"),
    "too-many-failures": _guessing,
    "too-many-requests": _too_often,
    "header-too-large": _asking(X_Padding="x" * 9000),
    "internal": _crash,
    "store-unavailable": _store_gone,
    "streams-exhausted": _all_in_use,
}


@asynccontextmanager
async def _stream(client: Client, query: str = "", **headers: str) -> AsyncIterator[httpx.Response]:
    """The head of a stream that is open; its body is the caller's to read or to leave."""
    async with (
        httpx.AsyncClient(base_url=client.base, timeout=20) as http,
        http.stream("GET", _PATH + query, headers={**client.headers, **headers}) as response,
    ):
        yield response


async def _take(client: Client, count: int, query: str = "", **headers: str) -> list[ServerSentEvent]:
    async with (
        httpx.AsyncClient(base_url=client.base, timeout=20) as http,
        aconnect_sse(http, "GET", _PATH + query, headers={**client.headers, **headers}) as source,
    ):
        source.response.raise_for_status()
        events = source.aiter_sse()
        return [await anext(events) for _ in range(count)]


def test_every_documented_problem_is_provoked_here() -> None:
    """A new answer in the document needs a request that meets it."""
    assert set(_PROVOKED) == set(_CODES)
    assert {str(status) for status in _CODES.values()} | {"200"} == set(_DESCRIBED["responses"])


@pytest.mark.parametrize("code", _CODES)
async def test_a_documented_problem(code: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Status, type, shape and words are those of the document, before any stream begins."""
    bench = ApiBench(clock=SystemClock(), limits=Limits(failures=3, streams=2, requests_per_minute=60))
    async with bench.served("view") as client:
        reply = await _PROVOKED[code](bench, client, monkeypatch)
        assert (reply.status, reply.json["type"]) == (_CODES[code], PREFIX + code)
        monkeypatch.undo()
    described = _DESCRIBED["responses"][str(reply.status)]
    ((content_type, _),) = described["content"].items()
    assert reply.headers["Content-Type"] == content_type
    assert reply.json["title"] in described["description"]
    _schema("ProblemAnswer").validate(reply.json)
    assert reply.json["remedy"]
    assert ("WWW-Authenticate" in reply.headers) == (
        reply.status == 401 or code in ("scope-insufficient", "request-malformed")
    )
    assert ("Retry-After" in reply.headers) == (reply.status == 429 or code == "streams-exhausted")


async def test_the_head_of_a_stream() -> None:
    """200 with the documented type, never stored, and not held back by a proxy."""
    async with ApiBench(clock=SystemClock()).served("view") as client, _stream(client) as response:
        assert response.status_code == 200
        ((content_type, _),) = _DESCRIBED["responses"]["200"]["content"].items()
        assert response.headers["Content-Type"] == content_type == "text/event-stream"
        assert response.headers["Cache-Control"] == "no-store"
        assert response.headers["X-Accel-Buffering"] == "no"
        assert response.headers["X-Content-Type-Options"] == "nosniff"
        assert "Access-Control-Allow-Origin" not in response.headers
        assert "Server" not in response.headers


@pytest.mark.parametrize("method", ["HEAD", "OPTIONS", "POST", "PUT", "DELETE"])
async def test_other_methods(method: str) -> None:
    """A stream has no head of its own to ask for: 405, with what is allowed (RFC 9110, 15.5.6)."""
    async with ApiBench().served("view") as client:
        reply = await client.ask(method, _PATH)
        assert (reply.status, reply.headers["Allow"]) == (405, "GET")


@pytest.mark.parametrize("name", list(EventName))
async def test_every_kind_of_event_fits_the_document(name: EventName) -> None:
    """The block's id and name are those of the object, which fits the schema of `listEvents`."""
    bench = ApiBench(clock=SystemClock())
    await bench.happen(name, holder="Berth 12", words=["a word"], serial="0048231907")
    async with bench.served("view") as client:
        (event,) = await _take(client, 1, f"?name={name}", **{"Last-Event-ID": "m1-0"})
        listed = (await client.get(f"/api/v1/events?after=m1-0&name={name}")).json["events"]
    body = json.loads(event.data)
    _schema("EventAnswer").validate(body)
    assert (event.id, event.event) == (body["id"], body["type"].removeprefix("local.gatepost.")) == ("m1-1", name)
    assert listed == [body]
    assert "Berth 12" not in event.data


async def test_who_may_see_people_sees_them() -> None:
    """The scope `roster` adds what names somebody, and nothing else differs."""
    bench = ApiBench(clock=SystemClock())
    await bench.happen(EventName.TRANSMITTER_HEARD, holder="Berth 12", serial="0048231907", position="1")
    async with bench.served("roster") as client:
        (event,) = await _take(client, 1, **{"Last-Event-ID": "m1-0"})
        token = await bench.token("view")
        (bare,) = await _take(client, 1, **{"Last-Event-ID": "m1-0", "Authorization": f"Bearer {token}"})
    seen, less = json.loads(event.data)["data"], json.loads(bare.data)["data"]
    assert seen == {"holder": "Berth 12"} | less
    assert less == {"serial": "0048231907", "position": "1"}


@pytest.mark.parametrize(
    "sent",
    [
        "nonsense",
        "m1",
        "m1-",
        "-3",
        "m1-x",
        "m1--",
        "m1-3.5",
        "m1-3,m1-4",
        "m1 3",
        "m1-" + "9" * 30,
        "m1-" + "9" * 5000,
    ],
)
@pytest.mark.parametrize("where", ["header", "parameter"])
async def test_an_id_that_is_none(sent: str, where: str) -> None:
    """400, or 422 where it is longer than any id; the place is named and what to write."""
    async with ApiBench().served("view") as client:
        reply = (
            await client.get(_PATH, headers={"Last-Event-ID": sent})
            if where == "header"
            else await client.get(_PATH, params={"last_event_id": sent})
        )
        assert (reply.status, reply.problem) in ((400, "cursor-invalid"), (422, "query-invalid"))
        (place,) = reply.json["errors"]
        assert place[where] == ("Last-Event-ID" if where == "header" else "last_event_id")
        assert "write" in place["detail"]


@pytest.mark.parametrize("sent", ["zz9-4", "m2-0", "m1-999", "m1-4 ", " m1-4", "M1-4"])
async def test_an_id_from_elsewhere(sent: str) -> None:
    """Of another epoch, or one that was never given out: told once, then all that is kept. Blanks don't count."""
    bench = ApiBench(clock=SystemClock())
    for _ in range(5):
        await bench.happen(EventName.INPUT_CHANGED)
    ours = sent.strip() == "m1-4"
    async with bench.served("view") as client:
        events = await _take(client, 1 if ours else 6, f"?last_event_id={sent.replace(' ', '%20')}")
    assert [event.event for event in events] == ([] if ours else ["journal.restarted"]) + ["input.changed"] * (
        1 if ours else 5
    )
    assert events[-1].id == "m1-5"
    if not ours:
        told = json.loads(events[0].data)
        _schema("EventAnswer").validate(told)
        assert (events[0].id, told["data"]) == ("m1-0", {"reason": "other-epoch"})


async def test_the_header_comes_before_the_parameter() -> None:
    """A browser that reconnects sends the header, while its address still has the id that it began with."""
    bench = ApiBench(clock=SystemClock())
    for _ in range(3):
        await bench.happen(EventName.INPUT_CHANGED)
    async with bench.served("view") as client:
        (event,) = await _take(client, 1, "?last_event_id=m1-0", **{"Last-Event-ID": "m1-2"})
    assert event.id == "m1-3"


async def test_filters_are_joined() -> None:
    """Several names and receivers: any of each, all of both; what is left out does not hold the place back."""
    bench = ApiBench(clock=SystemClock())
    for name in (EventName.INPUT_CHANGED, EventName.LINK_LOST, EventName.LINK_RESTORED):
        for receiver in ("slip-gate", "car-park", "boat-shed"):
            await bench.happen(name, receiver)
    query = "?name=link.lost&name=link.restored&receiver=car-park&receiver=boat-shed"
    async with bench.served("view") as client:
        events = await _take(client, 4, query, **{"Last-Event-ID": "m1-0"})
    assert [event.id for event in events] == ["m1-5", "m1-6", "m1-8", "m1-9"]
