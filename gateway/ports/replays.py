"""Between the API and the store: requests that must be done once, however often they are sent."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

__all__ = ["Replay", "Replays"]


@dataclass(frozen=True, slots=True)
class Replay:
    """What is known of a request. `digest` is its body's; `status` 0 means that it has not been answered yet."""

    digest: bytes
    status: int = 0
    headers: Mapping[str, str] = field(default_factory=dict)
    body: bytes = b""


class Replays(Protocol):
    """The keys of the last day, the newest thousand; kept over a restart."""

    async def begin(self, key: str, digest: bytes) -> Replay | None:
        """Note that a request is being done, durably, and return None; or return what is known of the first one.

        Raises StoreUnavailable (nothing was noted).
        """
        ...

    async def finish(self, key: str, replay: Replay) -> None:
        """How it was answered, durably. A key that was forgotten meanwhile stays so. Raises StoreUnavailable."""
        ...

    async def forget(self, key: str) -> None:
        """It was not done: the key is free again. Raises StoreUnavailable."""
        ...
