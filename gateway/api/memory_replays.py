"""What is known of requests with an `Idempotency-Key` while nothing can be written: until a restart."""

from __future__ import annotations

from collections import OrderedDict

from gateway.ports import Replay

__all__ = ["MemoryReplays"]

_KEYS = 1000


class MemoryReplays:
    """`ports.Replays` for the day that the disk is full; the oldest of a thousand keys gives way."""

    def __init__(self) -> None:
        self._kept: OrderedDict[str, Replay] = OrderedDict()

    async def begin(self, key: str, digest: bytes) -> Replay | None:
        """As the port says."""
        if key in self._kept:
            return self._kept[key]
        while len(self._kept) >= _KEYS:
            self._kept.popitem(last=False)
        self._kept[key] = Replay(digest)
        return None

    async def finish(self, key: str, replay: Replay) -> None:
        """As the port says."""
        if key in self._kept:
            self._kept[key] = replay

    async def forget(self, key: str) -> None:
        """As the port says."""
        self._kept.pop(key, None)

    def find(self, key: str) -> Replay | None:
        """What is known, without noting anything."""
        return self._kept.get(key)
