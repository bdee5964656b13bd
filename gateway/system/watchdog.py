"""The watchdog is fed only while everything works.

A timer that feeds by itself keeps a half-dead daemon alive. Here every worker says that it made progress, and the
service manager hears of it only when each of them did since the last time; one that hangs lets the watchdog bite.
"""

from __future__ import annotations

from collections.abc import Callable

from gateway.clock import Clock

__all__ = ["Watchdog"]


class Watchdog:
    """`feed` tells the service manager; `interval_s` is its limit."""

    def __init__(self, clock: Clock, feed: Callable[[], object], interval_s: float) -> None:
        self._clock = clock
        self._feed = feed
        self._interval_s = interval_s
        self._waiting: set[str] = set()
        self._workers: set[str] = set()

    def register(self, name: str) -> Callable[[], None]:
        """A worker to wait for; it calls what is returned whenever it made progress, at least every third of the limit.

        Raises ValueError for a name that is taken.
        """
        if name in self._workers:
            raise ValueError(f"a worker named {name!r} is registered already")
        self._workers.add(name)
        self._waiting.add(name)
        return lambda: self._waiting.discard(name)

    def release(self, name: str) -> None:
        """This worker has ended as it should."""
        self._workers.discard(name)
        self._waiting.discard(name)

    @property
    def stuck(self) -> tuple[str, ...]:
        """Who has made no progress since the last feed."""
        return tuple(sorted(self._waiting))

    def feed_if_alive(self) -> bool:
        """Feed when every worker made progress since the last feed; False when not."""
        if self._waiting:
            return False
        self._feed()
        self._waiting = set(self._workers)
        return True

    async def run(self) -> None:
        """Look every sixth of the limit, for ever; a feed then comes at least twice within it while all is well."""
        while True:
            self.feed_if_alive()
            await self._clock.sleep(self._interval_s / 6)
