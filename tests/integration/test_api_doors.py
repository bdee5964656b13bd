"""Doors that stay shut: what browsers elsewhere, scanners and hostile bodies try at every route.

The list is that of the OWASP API Security Top 10 (2023), API4 and API8, and of RFC 9110 for methods.
"""

from __future__ import annotations

import gzip
import io
import zlib
from collections.abc import AsyncIterator, Mapping
from typing import Any

import pytest

from gateway.api.openapi import build_document
from gateway.api.routes import OPERATIONS
from tests.fakes.api_bench import ApiBench, Client

_DOCUMENT = build_document(OPERATIONS, version="")
_PATHS = sorted(_DOCUMENT["paths"])
_MEBIBYTE = 2**20


def _with(kind: str) -> list[tuple[str, str]]:
    """Every operation with a body of this type."""
    return [
        (method.upper(), path)
        for path, item in _DOCUMENT["paths"].items()
        for method, operation in item.items()
        if kind in operation.get("requestBody", {}).get("content", {})
    ]


@pytest.fixture
async def client() -> AsyncIterator[Client]:
    """Somebody with every right; a door is not shut by a missing scope."""
    async with ApiBench().served("admin") as found:
        yield found


def _fill(path: str) -> str:
    for name, value in {"id": "slip-gate", "serial": "0048231907", "output": "1", "number": "1"}.items():
        path = path.replace(f"{{{name}}}", value)
    return path.replace("{", "").replace("}", "")


async def test_no_other_site_may_read_or_write(client: Client) -> None:
    """A preflight (Fetch standard, CORS) is never granted, and no answer names another origin."""
    headers = {
        "Origin": "https://elsewhere.example",
        "Access-Control-Request-Method": "POST",
        "Access-Control-Request-Headers": "authorization",
    }
    for path in _PATHS:
        reply = await client.ask("OPTIONS", _fill(path), headers=headers)
        assert reply.status == 405, path
        assert not [name for name in reply.headers if name.lower().startswith("access-control-")], path
        assert "OPTIONS" not in reply.headers["Allow"], path


@pytest.mark.parametrize("method", ["TRACE", "PROPFIND", "BREW"])
async def test_methods_that_nobody_needs(client: Client, method: str) -> None:
    """TRACE would show a proxy's headers to a script; methods that are made up are refused as well."""
    for path in _PATHS:
        reply = await client.ask(method, _fill(path))
        assert (reply.status, reply.problem) in ((405, "method-not-allowed"), (400, "request-malformed"))


_BOMB = gzip.compress(b" " * (64 * _MEBIBYTE), 1)
#: Bodies that break parsers, each with a header of its own where it needs one.
_HOSTILE: dict[str, tuple[bytes, Mapping[str, str]]] = {
    "deep": (b"[" * 200_000 + b"]" * 200_000, {}),
    "deep objects": (b'{"a":' * 100_000 + b"1" + b"}" * 100_000, {}),
    "a number without end": (b'{"a": ' + b"9" * 100_000 + b"}", {}),
    "not a number": (b'{"a": NaN, "b": Infinity}', {}),
    "half a character": (b'{"a": "\xff\xfe"}', {}),
    "a lone surrogate": (rb'{"a": "\ud800"}', {}),
    "zero bytes": (b'{"a": "\x00"}', {}),
    "cut off": (b'{"a": "b', {}),
    "an array": (b"[]", {}),
    "null": (b"null", {}),
    "a bomb": (_BOMB, {"Content-Encoding": "gzip"}),
    "no gzip at all": (b"{}", {"Content-Encoding": "gzip"}),
    "a cut deflate": (zlib.compress(b'{"a": 1}')[:-6], {"Content-Encoding": "deflate"}),
}


@pytest.mark.parametrize("name", _HOSTILE)
async def test_hostile_bodies(client: Client, name: str) -> None:
    """Each is told as the client's fault by a problem, at every route that takes a body; the next request is served."""
    body, more = _HOSTILE[name]
    for method, path in _with("application/json"):
        headers = {"Content-Type": "application/json", "If-Match": '"x"', **more}
        reply = await client.ask(method, _fill(path), headers=headers, data=body)
        assert 400 <= reply.status < 500, (path, reply.status, reply.body)
        assert reply.headers["Content-Type"] == "application/problem+json", path
    assert (await client.get("/api/v1/gateway")).status == 200


_EDGE = b"--fennel\r\n"
_NAMED = _EDGE + b'Content-Disposition: form-data; name="roster"\r\n'
#: Forms (RFC 7578) that are damaged in their parts.
_FORMS = {
    "a header without a colon": _EDGE + b"None--fennel--\r\n",
    "a header in no encoding": _EDGE + b"F\xf1\x98\x8a\x99%\xa3\xf3t\x0c\r\n\r\nx\r\n--fennel--\r\n",
    "a header without end": _EDGE + b"A: " + b"x" * 100_000 + b"\r\n\r\nx\r\n--fennel--\r\n",
    "a thousand headers": _NAMED + b"".join(b"H%d: x\r\n" % n for n in range(1000)) + b"\r\nx\r\n--fennel--\r\n",
    "a form within": _NAMED + b"Content-Type: multipart/mixed; boundary=x\r\n\r\n--x\r\n\r\n--x--\r\n--fennel--\r\n",
    "a form within, without its edge": _NAMED + b"Content-Type: multipart/mixed\r\n\r\nx\r\n--fennel--\r\n",
    "no end": _NAMED + b"\r\nserial",
    "nothing but an end": b"--fennel--\r\n",
    "no edge": b"serial,holder\n",
}


@pytest.mark.parametrize("name", _FORMS)
async def test_hostile_forms(client: Client, name: str) -> None:
    """Each is told as the client's fault, at every route that takes a form."""
    for method, path in _with("multipart/form-data"):
        headers = {"Content-Type": "multipart/form-data; boundary=fennel", "If-Match": '"x"'}
        reply = await client.ask(method, _fill(path), headers=headers, data=_FORMS[name])
        assert 400 <= reply.status < 500, (path, reply.status, reply.body)
        assert reply.headers["Content-Type"] == "application/problem+json", path


async def test_bodies_that_are_too_large(client: Client) -> None:
    """More than any route takes is refused before it is read, or the route says first that there is no such thing."""
    for method, path in _with("application/json"):
        headers = {"Content-Type": "application/json", "If-Match": '"x"'}
        reply = await client.ask(method, _fill(path), headers=headers, data=io.BytesIO(b" " * (10 * _MEBIBYTE + 1)))
        assert reply.status in (403, 404, 409, 412, 413), (path, reply.body)


@pytest.mark.parametrize(
    "path",
    [
        "/api/v1/../../etc/passwd",
        "/api/v1/receivers/..%2f..%2fetc%2fpasswd",
        "/api/v1/snapshots/..%2f..%2fstate%2fledger",
        "/page/..%2f..%2fsettings.py",
        "/page/%2e%2e/%2e%2e/settings.py",
        "/api/v1/receivers/%00",
        "/api/v1/receivers/" + "a" * 5000,
    ],
)
async def test_paths_that_lead_elsewhere(client: Client, path: str) -> None:
    """Nothing outside is served, and no redirect leads away."""
    reply = await client.get(path)
    assert reply.status in (400, 404, 409, 421), reply.body
    assert "Location" not in reply.headers
    assert b"root:" not in reply.body


async def test_a_token_works_in_one_place_only(client: Client) -> None:
    """Neither in the address, nor in a body, nor in a cookie (RFC 6750, 2.2 and 2.3, are not offered)."""
    secret: Any = client.headers["Authorization"].partition(" ")[2]
    client.headers.clear()
    for options in (
        {"params": {"access_token": secret}},
        {"data": {"access_token": secret}},
        {"headers": {"Cookie": f"access_token={secret}; token={secret}"}},
        {"headers": {"X-Api-Key": secret}},
    ):
        assert (await client.ask("GET", "/api/v1/gateway", **options)).status == 401
