"""The only door to real time.

`Clock` is handed to everything that waits, so a test can hand in one that it moves by itself. Wall time may
be wrong or jump (rule 7 of the design); durations therefore come from `monotonic` alone.

`Alarm` wraps a Linux timerfd. The event loop's own timer rounds up to whole milliseconds, which turns the
1.75 ms silence of a fast Modbus line into 2.5 ms; a timerfd read through the loop is true to some 0.1 ms.
"""

from __future__ import annotations

import asyncio
import ctypes
import os
import struct
import time
from collections.abc import Callable
from contextlib import AbstractAsyncContextManager
from datetime import UTC, datetime
from typing import Any, Protocol

__all__ = ["Alarm", "Clock", "SystemClock"]


class Alarm(Protocol):
    """One re-armable timer. Setting it again replaces what was set."""

    def set(self, at: float) -> None:
        """Call back once when `Clock.monotonic()` reaches `at` (seconds); at once if that is past."""

    def cancel(self) -> None:
        """Forget what was set. Harmless when nothing is."""

    def close(self) -> None:
        """Give the timer back; it can't be set again. May be called twice."""


class Clock(Protocol):
    """Wall time, monotonic time and waiting."""

    def now(self) -> datetime:
        """Wall time, aware, UTC."""
        ...

    def monotonic(self) -> float:
        """Seconds that never run backwards, from an arbitrary start."""
        ...

    async def sleep(self, seconds: float) -> None:
        """Wait. Cancellation is safe."""

    def timeout(self, seconds: float | None) -> AbstractAsyncContextManager[Any]:
        """`async with` body that raises TimeoutError when it takes longer; None never does."""
        ...

    def alarm(self, callback: Callable[[], None]) -> Alarm:
        """A timer that calls back in the running loop. Its owner closes it."""
        ...


class SystemClock:
    """The real clock."""

    def now(self) -> datetime:
        return datetime.now(UTC)

    def monotonic(self) -> float:
        return time.monotonic()

    async def sleep(self, seconds: float) -> None:
        await asyncio.sleep(seconds)

    def timeout(self, seconds: float | None) -> AbstractAsyncContextManager[Any]:
        return asyncio.timeout(seconds)

    def alarm(self, callback: Callable[[], None]) -> Alarm:
        return _TimerFdAlarm(callback)


_ITIMERSPEC = struct.Struct("@llll")  # interval and value, each seconds and nanoseconds: two struct timespec
_TFD_NONBLOCK_CLOEXEC = os.O_NONBLOCK | os.O_CLOEXEC
_TFD_TIMER_ABSTIME = 1
_CLOCK_MONOTONIC = 1
_libc = ctypes.CDLL(None, use_errno=True)  # Python offers timerfd itself from 3.13 on
_timerfd_settime = _libc.timerfd_settime
_timerfd_settime.argtypes = (ctypes.c_int, ctypes.c_int, ctypes.c_char_p, ctypes.c_void_p)


class _TimerFdAlarm:
    """timerfd_create(2) on CLOCK_MONOTONIC, which is the clock behind `time.monotonic` on Linux."""

    def __init__(self, callback: Callable[[], None]) -> None:
        self._callback = callback
        self._loop = asyncio.get_running_loop()
        self._fd = _libc.timerfd_create(_CLOCK_MONOTONIC, _TFD_NONBLOCK_CLOEXEC)
        if self._fd < 0:
            raise OSError(ctypes.get_errno(), "timerfd_create failed")
        self._loop.add_reader(self._fd, self._ring)

    def set(self, at: float) -> None:
        seconds = int(at)
        self._settime(seconds, int((at - seconds) * 1e9) or 1)  # an all-zero value would disarm the timer

    def cancel(self) -> None:
        if self._fd >= 0:
            self._settime(0, 0)

    def close(self) -> None:
        if self._fd >= 0:
            self._loop.remove_reader(self._fd)
            os.close(self._fd)
            self._fd = -1

    def _settime(self, seconds: int, nanoseconds: int) -> None:
        value = _ITIMERSPEC.pack(0, 0, seconds, nanoseconds)
        if _timerfd_settime(self._fd, _TFD_TIMER_ABSTIME, value, None) < 0:
            raise OSError(ctypes.get_errno(), "timerfd_settime failed")

    def _ring(self) -> None:
        try:
            os.read(self._fd, 8)
        except BlockingIOError:  # set again after it had rung and before we looked
            return
        self._callback()
