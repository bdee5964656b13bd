"""The watchdog is fed only while every worker works."""

from __future__ import annotations

import asyncio
import itertools

import pytest

from gateway.system.watchdog import Watchdog
from tests.fakes.clock import FakeClock


def watched() -> tuple[Watchdog, list[float], FakeClock]:
    clock, fed = FakeClock(), list[float]()
    return Watchdog(clock, lambda: fed.append(clock.monotonic()), 30.0), fed, clock


def test_it_is_fed_when_each_made_progress_since_the_last_time() -> None:
    """One that has not keeps it from being fed, and is named."""
    watchdog, fed, _ = watched()
    line, store = watchdog.register("line"), watchdog.register("store")
    line()
    assert not watchdog.feed_if_alive()
    assert list(watchdog.stuck) == ["store"]
    store()
    assert watchdog.feed_if_alive()
    assert list(watchdog.stuck) == ["line", "store"]
    line()
    line()
    assert not watchdog.feed_if_alive()
    assert len(fed) == 1


def test_a_worker_that_ended_as_it_should_is_not_waited_for() -> None:
    """A line taken out of the settings does not restart the daemon."""
    watchdog, fed, _ = watched()
    watchdog.register("line")
    watchdog.register("store")()
    watchdog.release("line")
    assert watchdog.feed_if_alive()
    assert len(fed) == 1


def test_a_name_stands_for_one_worker() -> None:
    """Two under one name would hide each other."""
    watchdog, _, _ = watched()
    watchdog.register("line")
    with pytest.raises(ValueError, match="line"):
        watchdog.register("line")


async def test_a_worker_that_hangs_lets_the_limit_pass() -> None:
    """While it works there are at least two feeds in each limit; after it hangs there is one more at most."""
    watchdog, fed, clock = watched()
    progress = watchdog.register("line")
    task = asyncio.ensure_future(watchdog.run())
    for _ in range(60):
        progress()
        await clock.advance(1)
    assert all(later - earlier <= 15 for earlier, later in itertools.pairwise(fed))
    assert len(fed) >= 4
    count = len(fed)
    await clock.advance(120)
    assert len(fed) <= count + 1
    task.cancel()
    await asyncio.gather(task, return_exceptions=True)
