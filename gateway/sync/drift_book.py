"""Drift as planning needs it: what the ledger keeps, and which transmitters were there before Gatepost.

A receiver that was in use before holds transmitters that no roster knows; a transmitter that the roster has let go is
unknown to it too, and must go. What tells the two apart is a document that is written before the first plan at a
receiver, and anew for another receiver in its place or with a new database: who is unlisted then was there before.
A transmitter leaves it for good when the roster lists it.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from gateway.domain.drift import Drift, DriftPolicy
from gateway.domain.mirror import Mirror
from gateway.ports import Commit, Documents, DriftLedger, Journal
from gateway.sync.drift_rules import DriftView

__all__ = ["DriftBook", "ThereBefore"]


@dataclass(frozen=True, slots=True)
class ThereBefore:
    """The unlisted transmitters of one receiver, named by its own serial, before Gatepost first wrote to it."""

    receiver_serial: str
    serials: tuple[int, ...] = ()


class DriftBook:
    """Read by whoever plans; the one place that knows the key of the document."""

    def __init__(
        self,
        *,
        ledger: DriftLedger,
        documents: Documents,
        journal: Journal,
        policies: Mapping[str, DriftPolicy] | None = None,
    ) -> None:
        self._ledger = ledger
        self._documents = documents
        self._journal = journal
        self._policies = policies or {}

    def policy(self, receiver: str) -> DriftPolicy:
        """What the settings say for this receiver."""
        return self._policies.get(receiver, DriftPolicy.REMOVE)

    def drifts(self, receiver: str) -> tuple[Drift, ...]:
        """What is kept of this receiver, by serial."""
        found = [drift for (name, _), drift in self._ledger.drifts().items() if name == receiver]
        return tuple(sorted(found, key=lambda drift: drift.serial))

    def view(self, mirror: Mirror, listed: Collection[int]) -> DriftView:
        """Everything that planning needs. `listed` are the serials of the roster in force."""
        return DriftView(
            policy=self.policy(mirror.receiver),
            drifts=self.drifts(mirror.receiver),
            there_before=self.there_before(mirror, listed),
        )

    def there_before(self, mirror: Mirror, listed: Collection[int]) -> frozenset[int]:
        """Who was there before, as far as still in the memory and still not listed."""
        kept = self._kept(mirror)
        held = {slot.serial for slot in mirror.slots.values()}
        before = held - {drift.serial for drift in self.drifts(mirror.receiver)} if kept is None else set(kept.serials)
        return frozenset((before & held) - set(listed))

    async def note(self, mirror: Mirror, listed: Collection[int]) -> None:
        """Before a plan is written: keep who was there before, without those whom the roster has come to list.

        Raises StoreUnavailable.
        """
        now = ThereBefore(mirror.identity.serial, tuple(sorted(self.there_before(mirror, listed))))
        if now != self._kept(mirror):
            await self._journal.commit(Commit(documents={_key(mirror.receiver): now}))

    def _kept(self, mirror: Mirror) -> ThereBefore | None:
        kept = self._documents.load(_key(mirror.receiver), ThereBefore)
        return kept if kept is not None and kept.receiver_serial == mirror.identity.serial else None


def _key(receiver: str) -> str:
    return f"drift.there-before/{receiver}"
