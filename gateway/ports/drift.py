"""Drift: what is kept of it, and what people can say about it; implemented by `store` and `sync`."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Protocol

from gateway.domain.drift import Decision, Drift, DriftItem
from gateway.domain.wait import RosterWait

__all__ = ["Decided", "DriftDesk", "DriftLedger"]


class DriftLedger(Protocol):
    """Drift in the append-only file: it survives restarts and the database."""

    def drifts(self) -> Mapping[tuple[str, int], Drift]:
        """What is kept, by receiver and serial."""
        ...

    async def keep_drift(self, notes: Collection[Drift], ended: Collection[tuple[str, int]] = ()) -> None:
        """Durable when it returns. A note replaces the one of the same receiver and serial. Raises StoreUnavailable."""
        ...

    async def begin_wait(self, wait: RosterWait) -> None:
        """See `Ledger.begin_wait`."""
        ...

    def waits(self) -> Mapping[str, RosterWait]:
        """See `Ledger.waits`."""
        ...

    def revocations(self) -> Mapping[int, object]:
        """In force now, by serial."""
        ...


@dataclass(frozen=True, slots=True)
class Decided:
    """What came of a decision: the drift as it stands now (None: nothing is left), the plan that was started (empty:
    none was), and a sentence about what happens next."""

    item: DriftItem | None
    plan: str
    words: str


class DriftDesk(Protocol):
    """Open drift and what people decide about it (implemented by sync/)."""

    def open(self, receiver: str | None = None) -> tuple[DriftItem, ...]:
        """By receiver, then serial. Raises NotFound for a receiver that there is not."""
        ...

    async def decide(self, receiver: str, serial: int, decision: Decision, *, asked_by: str) -> Decided:
        """Durable when it returns. Raises NotFound, Refused with `decision-impossible`, StoreUnavailable."""
        ...
