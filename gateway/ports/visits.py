"""Work in progress; implemented by `sync`, because what it does first is to let the roster wait."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from typing import Protocol

from gateway.domain.visit import Visit, VisitScope

__all__ = ["UnlockLedger", "VisitOrder", "Visits"]


@dataclass(frozen=True, slots=True)
class VisitOrder:
    """Who works where, for how long, and why. `unlock`: the board's own buttons may be used meanwhile."""

    scope: VisitScope
    name: str
    minutes: int
    reason: str
    asked_by: str
    unlock: bool = False


class UnlockLedger(Protocol):
    """Which receivers' local programming was opened for people at work: outlives the database (implemented by store/).

    Without it a database lost during a visit would leave the board unlocked for ever.
    """

    def unlocked(self) -> frozenset[str]:
        """Noted as unlocked and not yet noted as locked again."""
        ...

    async def note_unlocked(self, receiver: str) -> None:
        """Durable when it returns; to be called before the receiver is unlocked. Raises StoreUnavailable."""
        ...

    async def note_locked(self, receiver: str) -> None:
        """It was proven locked, or never unlocked after all. Raises StoreUnavailable."""
        ...


class Visits(Protocol):
    """Work in progress."""

    def all(self) -> tuple[Visit, ...]:
        """Newest first; the newest 50 are kept."""
        ...

    def find(self, visit_id: str) -> Visit:
        """Raises NotFound."""
        ...

    @property
    def visited(self) -> frozenset[str]:
        """The receivers at which people work now."""
        ...

    def check(self, receivers: Collection[str]) -> None:
        """Raises Refused with `work-in-progress` while people work at one of them."""
        ...

    async def start(self, order: VisitOrder) -> Visit:
        """Durable and told when it returns; then unlocked where that was asked for and the receiver can be reached.

        Raises NotFound, StoreUnavailable, and Refused with `no-reason`, `visit-length`, `visit-running` or
        `plan-running`.
        """
        ...

    async def end(self, visit_id: str, *, asked_by: str) -> Visit:
        """Lock again, list what changed, tell. Raises NotFound, and Refused with `visit-ended`."""
        ...
