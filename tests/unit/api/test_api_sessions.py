"""Sessions: how they open, live and end; nothing of the cookie is kept."""

from __future__ import annotations

from gateway.api.sessions import IDLE_S, LONGEST_S, Sessions
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore


async def _sessions() -> tuple[FakeClock, MemoryStore, Sessions, str]:
    clock = FakeClock()
    store = MemoryStore(clock)
    token, _ = await store.tokens.add("desk", ["roster"])
    return clock, store, _begin(store, clock), token.id


def _begin(store: MemoryStore, clock: FakeClock) -> Sessions:
    return Sessions(tokens=store.tokens, clock=clock, journal=store.journal, documents=store.documents)


async def test_a_session_is_found_by_its_cookie_alone() -> None:
    """Its key is not the cookie's value."""
    _, _, sessions, token_id = await _sessions()
    session, value = await sessions.open(token_id)
    found = await sessions.use(value)
    assert found is not None
    assert (found[0].key, found[1].id) == (session.key, token_id)
    assert value not in session.key
    assert await sessions.use(session.key) is None
    assert await sessions.use("\udcff") is None


async def test_it_ends_when_it_is_not_used() -> None:
    """Every request puts the end off, for 30 days at most."""
    clock, _, sessions, token_id = await _sessions()
    _, value = await sessions.open(token_id)
    await clock.advance(IDLE_S - 1)
    assert await sessions.use(value)
    await clock.advance(IDLE_S - 1)
    assert await sessions.use(value)
    await clock.advance(IDLE_S)
    assert await sessions.use(value) is None
    session, value = await sessions.open(token_id)
    hours = 0.0
    while hours < LONGEST_S:
        assert sessions.find(session.key)
        assert await sessions.use(value)
        await clock.advance(IDLE_S / 2)
        hours += IDLE_S / 2
    assert await sessions.use(value) is None


async def test_it_ends_with_its_token_and_at_sign_out() -> None:
    """And nothing of it is left."""
    _, store, sessions, token_id = await _sessions()
    session, value = await sessions.open(token_id)
    await sessions.end(session.key)
    assert await sessions.use(value) is None
    session, value = await sessions.open(token_id)
    await store.tokens.remove(token_id)
    assert sessions.find(session.key) is None
    assert await sessions.use(value) is None


async def test_so_many_and_no_more() -> None:
    """The one that was idle longest makes room."""
    _, _, sessions, token_id = await _sessions()
    values = [(await sessions.open(token_id))[1] for _ in range(200)]
    assert await sessions.use(values[0])
    await sessions.open(token_id)
    assert await sessions.use(values[0])
    assert await sessions.use(values[1]) is None


async def test_a_restart_leaves_people_signed_in() -> None:
    """With the ends they had; a clock that was set back doesn't make them longer than from now on."""
    clock, store, sessions, token_id = await _sessions()
    _, value = await sessions.open(token_id)
    await clock.advance(IDLE_S - 3600)
    later = _begin(store, clock)
    assert await later.use(value)
    assert value not in str(store.documents.kept)
    await clock.advance(IDLE_S)
    assert await later.use(value) is None
    assert await _begin(store, clock).use(value) is None


async def test_signing_in_works_while_nothing_can_be_kept() -> None:
    """Then for this run alone."""
    clock, store, sessions, token_id = await _sessions()
    store.journal.full = True
    _, value = await sessions.open(token_id)
    assert await sessions.use(value)
    assert await _begin(store, clock).use(value) is None
