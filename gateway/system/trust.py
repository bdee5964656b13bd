"""Whether wall time is known to be right.

In this order: the marker file that the time service touches whenever it has synchronised
(systemd-timesyncd.service(8)), then `timedatectl show -p NTPSynchronized` (for other time services), else not.
A board without a battery-backed clock starts with a plausible and wrong time, so a plausible time proves nothing.

When wall time goes backwards against monotonic time it was wrong before or is wrong now. It is then untrusted until
the time service is seen to have synchronised again: the marker was touched since, or a later look finds
`timedatectl` saying yes (the kernel takes its yes back when somebody sets the clock).
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Awaitable, Callable
from datetime import datetime, timedelta
from enum import StrEnum
from pathlib import Path

from gateway.clock import Clock

__all__ = ["SYNCHRONIZED_MARK", "Assume", "ClockTrust", "ask_timedatectl"]

SYNCHRONIZED_MARK = Path("/run/systemd/timesync/synchronized")
#: Wall time that falls back less than this is a time service slewing or stepping within its work (our choice).
_BACKWARDS = timedelta(seconds=2)
_ASK_TIMEOUT_S = 5.0
_LOOK_EVERY_S = 30.0


class Assume(StrEnum):
    """The setting: find out, or take somebody's word for it."""

    AUTO = "auto"
    TRUSTED = "trusted"
    UNTRUSTED = "untrusted"


class ClockTrust:
    """`ports.Trust`. Untrusted until `look` has been called; `watch` then looks again and again."""

    def __init__(
        self,
        clock: Clock,
        *,
        assume: Assume = Assume.AUTO,
        marker: Path = SYNCHRONIZED_MARK,
        ask: Callable[[Clock], Awaitable[bool]] | None = None,
    ) -> None:
        self._clock = clock
        self._assume = assume
        self._marker = marker
        self._ask = ask or ask_timedatectl
        self._synced = False
        self._mark_ns = self._read_marker()
        self._doubted_mark_ns: int | None = None
        self._doubt = False
        self._base = self._wall_minus_monotonic()

    @property
    def trusted(self) -> bool:
        """False from the moment on at which wall time went backwards, before any look finds it."""
        if self._assume is not Assume.AUTO:
            return self._assume is Assume.TRUSTED
        return self._synced and not self._went_back()

    async def look(self) -> bool:
        """Find out anew; what `trusted` then says."""
        if self._assume is not Assume.AUTO:
            return self.trusted
        stepped = self._went_back()
        mark_ns = self._read_marker()
        if stepped:
            self._doubt, self._doubted_mark_ns = True, self._mark_ns
        self._base, self._mark_ns = self._wall_minus_monotonic(), mark_ns
        touched = mark_ns is not None and mark_ns != self._doubted_mark_ns
        if self._doubt and not touched:
            self._synced = not stepped and await self._ask(self._clock)
        else:
            self._synced = mark_ns is not None or await self._ask(self._clock)
        self._doubt = self._doubt and not self._synced
        return self.trusted

    async def watch(self, changed: Callable[[bool], Awaitable[None]]) -> None:
        """Look every 30 s, for ever; `changed` is awaited with the new state whenever it differs, at first too."""
        told: bool | None = None
        while True:
            now = await self.look()
            if now != told:
                await changed(now)
                told = now
            await self._clock.sleep(_LOOK_EVERY_S)

    def _wall_minus_monotonic(self) -> datetime:
        return self._clock.now() - timedelta(seconds=self._clock.monotonic())

    def _went_back(self) -> bool:
        return self._base - self._wall_minus_monotonic() > _BACKWARDS

    def _read_marker(self) -> int | None:
        try:
            return self._marker.stat().st_mtime_ns
        except OSError:
            return None


async def ask_timedatectl(clock: Clock) -> bool:
    """True when the kernel says that a time service holds the clock; False too when nobody can be asked."""
    try:
        asked = await asyncio.create_subprocess_exec(
            "timedatectl",
            "show",
            "-p",
            "NTPSynchronized",
            stdin=asyncio.subprocess.DEVNULL,
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.DEVNULL,
        )
    except OSError:
        return False
    try:
        async with clock.timeout(_ASK_TIMEOUT_S):
            answer, _ = await asked.communicate()
    except TimeoutError:
        return False
    finally:
        with contextlib.suppress(ProcessLookupError):
            asked.kill()
        await asked.wait()
    return answer.strip() == b"NTPSynchronized=yes"
