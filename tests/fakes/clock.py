"""A clock that only the test moves.

`FakeClock` stands in for `gateway.clock.Clock`. Time stands still until `advance` or `run` moves it; both
jump from one due moment to the next and let the event loop run dry at each, so the order of events is the
order of their times and never of the machine's load. Wall time is kept apart, so that a test can make it
wrong or let it jump (`step_wall`). It knows nothing of what waits on it, and it can't see threads, sockets
or files: those need `settle` after whatever wakes them.
"""

from __future__ import annotations

import asyncio
import heapq
import itertools
from collections.abc import Awaitable, Callable, Coroutine
from contextlib import AbstractAsyncContextManager, nullcontext
from datetime import UTC, datetime, timedelta
from types import TracebackType
from typing import Any, TypeVar

__all__ = ["FakeAlarm", "FakeClock"]

T = TypeVar("T")


class _Timer:
    """One entry of the clock's list; a cancelled one stays in the heap and is skipped."""

    __slots__ = ("at", "callback", "live")

    def __init__(self, at: float, callback: Callable[[], None]) -> None:
        self.at = at
        self.callback = callback
        self.live = True


def _wake(sleeper: asyncio.Future[None]) -> None:
    if not sleeper.done():
        sleeper.set_result(None)


class FakeClock:
    """Virtual time. Starts at `start` (wall, aware) and 1000.0 s (monotonic)."""

    def __init__(self, start: datetime = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)) -> None:
        self._wall_at_zero = start - timedelta(seconds=1000)
        self._monotonic = 1000.0
        self._timers: list[tuple[float, int, _Timer]] = []
        self._order = itertools.count()

    def now(self) -> datetime:
        return self._wall_at_zero + timedelta(seconds=self._monotonic)

    def monotonic(self) -> float:
        return self._monotonic

    async def sleep(self, seconds: float) -> None:
        if seconds <= 0:
            await asyncio.sleep(0)
            return
        woken = asyncio.get_running_loop().create_future()
        timer = self._add(self._monotonic + seconds, lambda: _wake(woken))
        try:
            await woken
        finally:
            timer.live = False

    def timeout(self, seconds: float | None) -> AbstractAsyncContextManager[Any]:
        return nullcontext() if seconds is None else _Timeout(self, seconds)

    def alarm(self, callback: Callable[[], None]) -> FakeAlarm:
        return FakeAlarm(self, callback)

    def step_wall(self, by: timedelta) -> None:
        """Let wall time jump, as a corrected or a faulty real-time clock does; monotonic time stays."""
        self._wall_at_zero += by

    @property
    def next_due(self) -> float | None:
        """The monotonic time of the earliest live timer, None when nothing waits for time."""
        while self._timers and not self._timers[0][2].live:
            heapq.heappop(self._timers)
        return self._timers[0][0] if self._timers else None

    async def settle(self) -> None:
        """Let every task run as far as it can without time moving."""
        loop = asyncio.get_running_loop()
        ready = getattr(loop, "_ready", None)
        await asyncio.sleep(0)
        for _ in range(100_000):
            if ready is not None and not ready:
                return
            await asyncio.sleep(0)
        raise AssertionError("the event loop never runs dry: something spins without waiting for time")

    async def advance(self, seconds: float) -> None:
        """Move time on by `seconds`, firing whatever falls due on the way, in order."""
        end = self._monotonic + seconds
        await self.settle()
        while (due := self.next_due) is not None and due <= end:
            await self._fire_next()
        self._monotonic = max(self._monotonic, end)
        await self.settle()

    async def run(self, work: Coroutine[Any, Any, T] | Awaitable[T], *, limit_s: float = 3600.0) -> T:
        """Await `work`, moving time just as far as it needs; AssertionError when that passes `limit_s`."""
        task = asyncio.ensure_future(work)
        end = self._monotonic + limit_s
        try:
            await self.settle()
            while not task.done():
                due = self.next_due
                assert due is not None, "nothing waits for time and the work is not done: it would hang for ever"
                assert due <= end, f"not done after {limit_s} s of virtual time"
                await self._fire_next()
        finally:
            if not task.done():
                task.cancel()
                await asyncio.gather(task, return_exceptions=True)
        return await task

    async def _fire_next(self) -> None:
        at, _, timer = heapq.heappop(self._timers)
        self._monotonic = max(self._monotonic, at)
        if timer.live:
            timer.live = False
            timer.callback()
        await self.settle()

    def _add(self, at: float, callback: Callable[[], None]) -> _Timer:
        timer = _Timer(at, callback)
        heapq.heappush(self._timers, (at, next(self._order), timer))
        return timer


class FakeAlarm:
    """`gateway.clock.Alarm` on a `FakeClock`."""

    def __init__(self, clock: FakeClock, callback: Callable[[], None]) -> None:
        self._clock = clock
        self._callback = callback
        self._timer: _Timer | None = None

    def set(self, at: float) -> None:
        self.cancel()
        self._timer = self._clock._add(at, self._callback)

    def cancel(self) -> None:
        if self._timer is not None:
            self._timer.live = False
            self._timer = None

    def close(self) -> None:
        self.cancel()


class _Timeout:
    """What `asyncio.timeout` does, on virtual time."""

    def __init__(self, clock: FakeClock, seconds: float) -> None:
        self._clock = clock
        self._seconds = seconds
        self._expired = False
        self._timer: _Timer | None = None
        self._task: asyncio.Task[Any] | None = None

    async def __aenter__(self) -> _Timeout:
        self._task = asyncio.current_task()
        assert self._task is not None
        self._cancelling = self._task.cancelling()
        self._timer = self._clock._add(self._clock.monotonic() + max(self._seconds, 0.0), self._expire)
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, fault: BaseException | None, trace: TracebackType | None
    ) -> None:
        assert self._timer is not None
        assert self._task is not None
        self._timer.live = False
        if self._expired and self._task.uncancel() <= self._cancelling and kind is asyncio.CancelledError:
            raise TimeoutError from fault

    def expired(self) -> bool:
        """True when it was this timeout that ended the body."""
        return self._expired

    def _expire(self) -> None:
        assert self._task is not None
        self._expired = True
        self._task.cancel()
