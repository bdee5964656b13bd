"""A small boatyard to watch: receivers in memory, a store that outlives the gateway, a clock that the test moves."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Collection, Mapping
from typing import Any

from gateway.archive.keepsake import Keepsake
from gateway.archive.taking import Archivist
from gateway.domain.events import EventName
from gateway.domain.live import LinkState, LiveReceiver
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Capability, Limits, Origin, Slot
from gateway.watch import Names, Watch, Watched
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore
from tests.fakes.receiver import EVERYTHING, FakeReceiver, some_slot
from tests.fakes.store_samples import FixedTrust

__all__ = ["Quay"]


class Quay:
    """One receiver, `slip-gate`, unless `names` says otherwise; all on one line."""

    def __init__(
        self,
        names: Collection[str] = ("slip-gate",),
        *,
        limits: Limits | None = None,
        capabilities: frozenset[Capability] = EVERYTHING,
        frame_s: float = 0.01,
        poll_rate_hz: float = 5.0,
        words: Names | None = None,
    ) -> None:
        self.clock = FakeClock()
        self.store = MemoryStore(self.clock)
        self.receivers = {
            name: FakeReceiver(name, clock=self.clock, limits=limits, capabilities=capabilities, frame_s=frame_s)
            for name in names
        }
        self._poll_rate_hz = poll_rate_hz
        self._words = words
        self.watch = self._build()

    @classmethod
    def filled(cls, count: int = 100) -> Quay:
        """A receiver of 128 slots in 4 blocks, so many of them in use."""
        quay = cls()
        for number in range(1, count + 1):
            quay.receiver.board.put(number, some_slot(number, 1000 + number), Origin.LINE)
        return quay

    @property
    def receiver(self) -> FakeReceiver:
        return next(iter(self.receivers.values()))

    @property
    def live(self) -> LiveReceiver:
        return self.watch.live.receivers()[0]

    def link(self) -> LinkState:
        return self.live.link

    @property
    def mirror(self) -> Mirror:
        mirror = self.store.mirrors.load(self.receiver.name)
        assert mirror is not None
        return mirror

    @contextlib.asynccontextmanager
    async def watching(self, settle_s: float = 1.0) -> AsyncIterator[Watch]:
        """A gateway that runs for the time of the body, anew over the same store; first contact is behind it."""
        self.watch = self._build()
        task = asyncio.ensure_future(self.watch.run())
        try:
            await self.clock.advance(settle_s)
            yield self.watch
        finally:
            failed = task.done()
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await task
            assert not failed, "the watch ended by itself"

    async def record(self, slots: Mapping[int, Slot | None]) -> Mirror:
        """Record a write with the sums that the receiver states now."""
        stated = await self.clock.run(self.receiver.read_block_crcs())
        recording = self.watch.keeper.record(self.receiver.name, slots, stated.revision, stated.crcs)
        return await self.clock.run(recording)

    def told(self, *names: EventName) -> list[tuple[str, dict[str, Any]]]:
        """Name and data of the journal's events, all or those of these names."""
        return [(event.name.value, dict(event.data)) for event in self.store.journal.all(*names)]

    def _build(self) -> Watch:
        return Watch(
            [Watched(receiver, "quay-line", self._poll_rate_hz) for receiver in self.receivers.values()],
            journal=self.store.journal,
            mirrors=self.store.mirrors,
            plans=self.store.plans,
            ledger=self.store.ledger,
            clock=self.clock,
            names=self._words,
            keepsakes=Keepsake(archivist=self._archivist(), snapshots=self.store.snapshots),
        )

    def _archivist(self) -> Archivist:
        store = self.store
        return Archivist(
            snapshots=store.snapshots, journal=store.journal, clock=self.clock, trust=FixedTrust(trusted=True)
        )
