"""Requests that are done once: kept over restarts, for a day, and no more than a thousand."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from pathlib import Path

import pytest

from gateway.ports import Replay
from gateway.store.opening import Store, open_store
from gateway.store.replays import KEPT
from tests.fakes.clock import FakeClock
from tests.fakes.store_samples import FixedTrust

_DAY_S = 24 * 3600
_ANSWERED = Replay(b"digest", 202, {"Location": "/api/v1/plans/p1"}, b'{"id":"p1"}')


async def test_what_was_answered_is_known_after_a_restart(
    reopen: Callable[[], Awaitable[Store]],
) -> None:
    """Status, headers and body come back; a request that never was answered comes back as that."""
    store = await reopen()
    assert await store.replays.begin("done", b"digest") is None
    await store.replays.finish("done", _ANSWERED)
    assert await store.replays.begin("cut", b"other") is None
    store = await reopen()
    assert await store.replays.begin("done", b"digest") == _ANSWERED
    assert await store.replays.begin("cut", b"other") == Replay(b"other")


async def test_a_key_that_was_freed_is_new(store: Store) -> None:
    """And an answer that comes for a forgotten key makes no row."""
    await store.replays.begin("a", b"1")
    await store.replays.forget("a")
    await store.replays.finish("a", _ANSWERED)
    assert await store.replays.begin("a", b"2") is None


async def test_keys_go_after_a_day(store: Store, clock: FakeClock) -> None:
    """And not before."""
    await store.replays.begin("a", b"1")
    await clock.advance(_DAY_S - 1)
    assert await store.replays.begin("a", b"1") == Replay(b"1")
    await clock.advance(1)
    assert await store.replays.begin("a", b"1") is None


@pytest.mark.parametrize(("trusted", "kept"), [(True, False), (False, True)])
async def test_a_clock_that_is_not_trusted_ends_no_key(
    folder: Path, clock: FakeClock, trust: FixedTrust, trusted: bool, kept: bool
) -> None:
    """After a boot the old rows' age is known by wall time alone."""
    first = await open_store(folder, clock, trust, boot_id="boot-1", reserve_bytes=4096)
    await first.replays.begin("a", b"1")
    await first.close()
    await clock.advance(_DAY_S + 1)
    trust.trusted = trusted
    second = await open_store(folder, clock, trust, boot_id="boot-2", reserve_bytes=4096)
    assert (await second.replays.begin("a", b"1") is not None) is kept
    await second.close()


async def test_the_oldest_gives_way(store: Store) -> None:
    """A thousand are kept."""
    for number in range(KEPT + 1):
        await store.replays.begin(f"k{number}", b"")
    assert await store.replays.begin("k1", b"") == Replay(b"")
    assert await store.replays.begin(f"k{KEPT}", b"") == Replay(b"")
    assert await store.replays.begin("k0", b"") is None
