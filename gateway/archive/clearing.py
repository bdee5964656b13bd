"""Clearing a receiver for its removal: snapshot, factory reset, proof, and the roster waits.

The roster's wait is durable before the reset is sent: a receiver that was cleared on purpose is not filled again by the
next run of the timetable (rule 11 of the design). The way back is the snapshot.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress

from gateway.clock import Clock
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Capability
from gateway.domain.snapshot import Snapshot
from gateway.domain.urgency import Urgency
from gateway.domain.wait import RESET, RosterWait
from gateway.errors import LineError, NotFound, NotProven, PeerError, Refused, Unsupported
from gateway.ports import Archive, LiveView, MirrorKeeper, Receiver, RestoreRuns, RosterWaits, SnapshotHead, Snapshots

__all__ = ["ClearingDesk"]


class ClearingDesk:
    """`ports.ClearingDesk`."""

    def __init__(
        self,
        *,
        receivers: Mapping[str, Receiver],
        keeper: MirrorKeeper,
        archive: Archive,
        live: LiveView,
        runs: RestoreRuns,
        waits: RosterWaits,
        snapshots: Snapshots,
        clock: Clock,
    ) -> None:
        self._snapshots = snapshots
        self._receivers = receivers
        self._keeper = keeper
        self._archive = archive
        self._live = live
        self._runs = runs
        self._waits = waits
        self._clock = clock

    async def reset(self, receiver: str, *, typed: str, asked_by: str) -> SnapshotHead:
        """See `ports.ClearingDesk`. Cut in the middle it may be asked for again; the first snapshot is the way back."""
        driver = self._driver(receiver)
        if typed != receiver:
            raise Refused(
                f"What was typed is not the name of {receiver}; nothing was cleared.",
                remedy=f"Type {receiver} to clear it.",
                code="name-differs",
            )
        async with self._runs.turn(receiver):
            mirror = await self._keeper.refresh(receiver, urgency=Urgency.BULK)
            taken = await self._way_back(mirror)
            await self._waits.begin(RosterWait(receiver, RESET, self._clock.now(), asked_by, taken.id))
            with _told(taken.id):
                await driver.factory_reset()
                _prove(driver, await self._keeper.refresh(receiver, urgency=Urgency.CONTROL), taken.id)
        return SnapshotHead(
            id=taken.id,
            receiver=receiver,
            taken=taken.taken,
            clock_trusted=taken.clock_trusted,
            reason=taken.reason,
            serial=taken.identity.serial,
            revision=taken.revision,
            slots=len(taken.slots),
        )

    async def _way_back(self, mirror: Mirror) -> Snapshot:
        """A snapshot of what is to be cleared; of a reset that was cut once it had arrived, the one from before it."""
        before = self._waits.all().get(mirror.receiver)
        if before is not None and before.reason == RESET and before.snapshot and not mirror.slots:
            with suppress(NotFound, Refused):
                return await self._snapshots.read(before.snapshot)
        status = self._live.receiver(mirror.receiver).status
        return await self._archive.take(mirror.receiver, mirror, reason="reset", status=status)

    def _driver(self, receiver: str) -> Receiver:
        if receiver not in self._receivers:
            known = ", ".join(self._receivers) or "none"
            raise NotFound(f"There is no receiver {receiver}.", remedy=f"The settings name: {known}.")
        driver = self._receivers[receiver]
        if Capability.RESET not in driver.capabilities:
            raise Unsupported(
                f"{receiver} can't be cleared over the line: its map has no reset.", remedy="Reset it at the board."
            )
        return driver


@contextmanager
def _told(snapshot: str) -> Iterator[None]:
    """A line that fails in the middle leaves it open whether the receiver was cleared."""
    try:
        yield
    except (LineError, PeerError) as fault:
        if snapshot not in fault.remedy:
            again = (
                f"Whether it was cleared is not known: give the command again. The way back is the snapshot {snapshot}."
            )
            fault.remedy = f"{fault.remedy} {again}"
        raise


def _prove(driver: Receiver, mirror: Mirror, snapshot: str) -> None:
    """Every block's CRC is that of an empty one."""
    limits = mirror.limits
    empty = tuple(driver.block_crc(limits, block, {}) for block in range(limits.blocks))
    password = mirror.settings is not None and mirror.settings.password_set
    if mirror.slots or mirror.block_crcs != empty or password:
        raise NotProven(
            f"{driver.name} acknowledged the reset, and {len(mirror.slots)} transmitters are still in it.",
            remedy=f"Clear it again, or reset it at the board. The way back is the snapshot {snapshot}.",
        )
