"""What a receiver held last, kept when it is about to be forgotten: another board in its place, or one that was reset.

The newest snapshot is of before the last plan, or of last night. What lies between stands in the mirror alone, and the
mirror follows whatever answers now. Knows no receiver: what is kept was proven when it could still be asked.
"""

from __future__ import annotations

import structlog

from gateway.archive.taking import Archivist
from gateway.domain.matching import same_memory
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Status
from gateway.domain.snapshot import Snapshot
from gateway.errors import GatepostError, NotFound, Refused
from gateway.ports import Snapshots

__all__ = ["Keepsake"]

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.archive")


class Keepsake:
    """`ports.Keepsakes`."""

    def __init__(self, *, archivist: Archivist, snapshots: Snapshots) -> None:
        self._archivist = archivist
        self._snapshots = snapshots

    async def keep(self, mirror: Mirror, *, reason: str, status: Status | None) -> str:
        """See `ports.Keepsakes`. A receiver that keeps neither slots nor settings has nothing to archive."""
        if not mirror.slots and mirror.settings is None:
            return ""
        try:
            newest = await self._newest_of(mirror)
            if newest is not None and _holds(newest, mirror):
                return newest.id
            modes = status.output_modes if status else newest.output_modes if newest else None
            return (await self._archivist.take(mirror.receiver, mirror, reason=reason, modes=modes)).id
        except GatepostError as fault:
            log.warning("snapshot.not_taken", receiver=mirror.receiver, code=fault.code)
            return ""

    async def _newest_of(self, mirror: Mirror) -> Snapshot | None:
        """The newest readable snapshot of this very board."""
        for snapshot_id in await self._snapshots.list(mirror.receiver):
            try:
                snapshot = await self._snapshots.read(snapshot_id)
            except (Refused, NotFound):
                continue
            if snapshot.identity.serial == mirror.identity.serial:
                return snapshot
        return None


def _holds(snapshot: Snapshot, mirror: Mirror) -> bool:
    slots = {slot.number: slot for slot in snapshot.slots}
    return same_memory(slots, mirror.slots) and snapshot.settings == mirror.settings
