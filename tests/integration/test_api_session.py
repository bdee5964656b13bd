"""The page's session over HTTP: sign in, cross-site requests, sign out; and the page's own files."""

from __future__ import annotations

from collections.abc import AsyncIterator
from http.cookies import SimpleCookie

import pytest

from gateway.api.cookies import COOKIE, PAGE_HEADER
from gateway.domain.events import EventName
from tests.fakes.api_bench import ApiBench, Client, Reply

_NOTE = {"name": "Harbour office", "note": "Leaf was blocked."}


@pytest.fixture
async def bench() -> AsyncIterator[tuple[ApiBench, Client]]:
    """The API, and a client without a token."""
    found = ApiBench()
    async with found.served() as client:
        yield found, client


async def _sign_in(bench: ApiBench, client: Client, *scopes: str) -> tuple[Reply, dict[str, str]]:
    """The answer, and the headers with which our own page asks from now on."""
    token = await bench.token(*scopes)
    reply = await client.post("/api/v1/session", headers={"Authorization": f"Bearer {token}"})
    assert reply.status == 201, reply.body
    client.session.cookie_jar.clear()
    cookie = SimpleCookie(reply.headers["Set-Cookie"])[COOKIE]
    return reply, {"Cookie": f"{COOKIE}={cookie.value}", "Sec-Fetch-Site": "same-origin", PAGE_HEADER: "1"}


async def test_a_token_is_exchanged_for_a_cookie(bench: tuple[ApiBench, Client]) -> None:
    """Not readable by scripts, never sent by other sites; the token's scopes and no more."""
    reply, page = await _sign_in(*bench, "view")
    cookie = reply.headers["Set-Cookie"]
    for part in ("HttpOnly", "SameSite=Strict", "Path=/"):
        assert part in cookie
    assert "Secure" not in cookie
    assert reply.json["scopes"] == ["view"]
    assert reply.json["gateway"] == "fennel-quay"
    client = bench[1]
    who = await client.get("/api/v1/session", headers=page)
    assert (who.json["name"], who.json["scopes"]) == ("a test", ["view"])
    assert who.json["callers"] == {}  # what others are called is not for everybody
    assert (await client.get("/api/v1/gates", headers=page)).status == 200
    assert (await client.get("/api/v1/tokens", headers=page)).problem == "scope-insufficient"
    gates = await client.get("/api/v1/gates", headers=page)
    assert "Cookie" in gates.headers["Vary"]


async def test_who_may_know_people_learns_what_other_tokens_are_called(bench: tuple[ApiBench, Client]) -> None:
    """So that the page tells who did something by name; it is kept by the token's id."""
    await bench[0].store.tokens.add("gate office", ("view",))
    _, page = await _sign_in(*bench, "roster")
    callers = (await bench[1].get("/api/v1/session", headers=page)).json["callers"]
    assert sorted(callers.values()) == ["a test", "gate office"]
    assert all(kept.startswith("token:") for kept in callers)


async def test_behind_encryption_the_cookie_is_secure(bench: tuple[ApiBench, Client]) -> None:
    """A proxy in front says so."""
    api, client = bench
    headers = {"Authorization": f"Bearer {await api.token('view')}", "X-Forwarded-Proto": "https"}
    assert "Secure" in (await client.post("/api/v1/session", headers=headers)).headers["Set-Cookie"]


@pytest.mark.parametrize(
    "changed",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "none"},
        {PAGE_HEADER: None},
        {"Sec-Fetch-Site": None},
        {"Origin": "http://other.example"},
        {"Origin": "null"},
    ],
    ids=str,
)
async def test_a_change_from_elsewhere_is_refused(
    bench: tuple[ApiBench, Client], changed: dict[str, str | None]
) -> None:
    """With the right cookie, but not from our own page: nothing happens."""
    api, client = bench
    _, page = await _sign_in(api, client, "admin")
    sent = {name: text for name, text in {**page, **changed}.items() if text is not None}
    reply = await client.post("/api/v1/tokens", {"name": "x", "scopes": ["admin"]}, headers=sent)
    assert (reply.status, reply.problem) == (403, "cross-site")
    assert [row.what for row in api.audit.rows] == ["session.opened", "session.opened"]
    assert (await client.post("/api/v1/tokens", {"name": "x", "scopes": ["view"]}, headers=page)).status == 201


async def test_reading_from_elsewhere_is_refused(bench: tuple[ApiBench, Client]) -> None:
    """A typed address is a person's own."""
    api, client = bench
    _, page = await _sign_in(api, client, "view")
    for site, status in (("cross-site", 403), ("same-site", 403), ("none", 200), ("same-origin", 200)):
        assert (await client.get("/api/v1/gates", headers={**page, "Sec-Fetch-Site": site})).status == status
    own = {**page, "Origin": client.base}
    assert (await client.get("/api/v1/gates", headers=own)).status == 200


async def test_sign_out_and_a_removed_token_end_it(bench: tuple[ApiBench, Client]) -> None:
    """The cookie is taken away, and worth nothing if somebody kept it."""
    api, client = bench
    _, page = await _sign_in(api, client, "view")
    out = await client.ask("DELETE", "/api/v1/session", headers=page)
    assert out.status == 204
    assert "Max-Age=0" in out.headers["Set-Cookie"]
    gone = await client.get("/api/v1/session", headers=page)
    assert (gone.status, gone.problem) == (401, "session-ended")
    _, page = await _sign_in(api, client, "view")
    for token in api.store.tokens.list():
        await api.store.tokens.remove(token.id)
    assert (await client.get("/api/v1/session", headers=page)).problem == "session-ended"
    assert [row.what for row in api.audit.rows][::2] == ["session.opened", "session.ended", "session.opened"]


async def test_a_session_needs_a_good_token(bench: tuple[ApiBench, Client]) -> None:
    """Wrong ones count as wrong ones always do."""
    _, client = bench
    assert (await client.post("/api/v1/session")).problem == "token-missing"
    for _ in range(10):
        wrong = await client.post("/api/v1/session", headers={"Authorization": "Bearer wrong"})
        assert wrong.problem == "token-invalid"
    shut = await client.post("/api/v1/session", headers={"Authorization": "Bearer wrong"})
    assert shut.problem == "too-many-failures"


async def test_a_session_s_stream_ends_with_it(bench: tuple[ApiBench, Client]) -> None:
    """Nobody goes on listening after a sign-out."""
    api, client = bench
    _, page = await _sign_in(api, client, "view")
    async with client.session.get("/api/v1/events/stream", headers=page) as stream:
        assert stream.status == 200
        assert await stream.content.readline()
        await client.ask("DELETE", "/api/v1/session", headers=page)

        await api.happen(EventName.LINK_RESTORED, lost_s=1)
        rest = await stream.content.read()
        assert b"link.restored" not in rest


async def test_the_page_is_open_and_bounded(bench: tuple[ApiBench, Client]) -> None:
    """Files without a token; a policy without anything inline; unchanged files are not sent again."""
    _, client = bench
    page = await client.get("/")
    assert page.status == 200
    assert page.headers["Content-Type"] == "text/html; charset=utf-8"
    assert "</page/app/main.js>; rel=modulepreload" in page.headers["Link"]
    policy = page.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    for name, text in (
        ("X-Content-Type-Options", "nosniff"),
        ("Referrer-Policy", "no-referrer"),
        ("Cross-Origin-Opener-Policy", "same-origin"),
    ):
        assert page.headers[name] == text
    again = await client.get("/", headers={"If-None-Match": page.headers["ETag"]})
    assert again.status == 304
    script = await client.get("/page/app/main.js")
    assert script.headers["Content-Type"] == "text/javascript; charset=utf-8"
    for path in ("/page/app/none.js", "/page/../page_files.py", "/page/%2e%2e/page_files.py", "/page/"):
        assert (await client.get(path)).status == 404, path
    for text in ("<style", "style=", "<script>", "onclick", "http:", "https:"):
        assert text not in page.body.decode(), text
