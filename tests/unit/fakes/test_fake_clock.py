"""The fake clock keeps the promises of `gateway.clock.Clock`."""

from __future__ import annotations

import asyncio
from datetime import timedelta

import pytest

from gateway.clock import Clock
from tests.fakes.clock import FakeClock


async def test_sleepers_wake_in_the_order_of_their_times() -> None:
    """Two sleepers started in the wrong order wake in the right one, each at its own moment."""
    clock = FakeClock()
    typed: Clock = clock
    woken: list[tuple[str, float]] = []

    async def sleeper(name: str, seconds: float) -> None:
        await typed.sleep(seconds)
        woken.append((name, clock.monotonic() - 1000))

    async with asyncio.TaskGroup() as group:
        group.create_task(sleeper("late", 2.0))
        group.create_task(sleeper("early", 0.5))
        await clock.advance(1.0)
        assert woken == [("early", 0.5)]
        await clock.advance(1.0)
    assert woken == [("early", 0.5), ("late", 2.0)]


async def test_timeout_raises_only_when_it_expires() -> None:
    """A body that is too slow ends in TimeoutError, a quick one doesn't, and an outer cancellation passes."""
    clock = FakeClock()

    async def body(seconds: float) -> str:
        async with clock.timeout(1.0):
            await clock.sleep(seconds)
        return "done"

    assert await clock.run(body(0.9)) == "done"
    with pytest.raises(TimeoutError):
        await clock.run(body(1.1))
    assert await clock.run(_cancelled(clock)) == "cancelled"


async def _cancelled(clock: FakeClock) -> str:
    async with asyncio.TaskGroup() as group:
        task = group.create_task(_wait(clock))
        await clock.sleep(0.1)
        task.cancel()
    return "cancelled" if task.cancelled() else "not"


async def _wait(clock: FakeClock) -> None:
    async with clock.timeout(5.0):
        await clock.sleep(60)


async def test_an_alarm_rings_once_and_a_new_setting_replaces_the_old() -> None:
    """Only the last moment set rings; a cancelled alarm doesn't."""
    clock = FakeClock()
    rung: list[float] = []
    alarm = clock.alarm(lambda: rung.append(clock.monotonic() - 1000))
    alarm.set(1001.0)
    alarm.set(1002.0)
    await clock.advance(5)
    assert rung == [2.0]
    alarm.set(1006.0)
    alarm.cancel()
    await clock.advance(5)
    assert rung == [2.0]


async def test_run_says_when_work_would_hang() -> None:
    """Work that waits for nothing that time brings is an error, not a hang."""
    clock = FakeClock()
    with pytest.raises(AssertionError, match="hang for ever"):
        await clock.run(asyncio.Event().wait())


async def test_wall_time_may_jump_and_monotonic_time_does_not() -> None:
    """A step of the wall clock moves `now` alone."""
    clock = FakeClock()
    before, ticks = clock.now(), clock.monotonic()
    clock.step_wall(timedelta(days=-14))
    assert clock.now() == before - timedelta(days=14)
    assert clock.monotonic() == ticks
