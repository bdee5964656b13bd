"""Taking a snapshot from a mirror that is proven equal to the receiver.

The file is durable before the journal says so: an event `snapshot.taken` always has its file. Knows neither files
nor the database, only the ports.
"""

from __future__ import annotations

import asyncio
import re
from dataclasses import replace

from gateway.clock import Clock
from gateway.domain.events import EventDraft, EventName
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import OutputMode, Status
from gateway.domain.snapshot import Snapshot
from gateway.ports import Commit, Journal, Snapshots, Trust

__all__ = ["IMPORTED", "Archivist", "take"]

IMPORTED = "import."
"""What the receiver's name of a snapshot from elsewhere begins with; no name in the settings has a dot."""

_NOT_IN_AN_ID = re.compile(r"[^A-Za-z0-9_.-]")


class Archivist:
    """`ports.Archive`."""

    def __init__(self, *, snapshots: Snapshots, journal: Journal, clock: Clock, trust: Trust) -> None:
        self._snapshots = snapshots
        self._journal = journal
        self._clock = clock
        self._trust = trust
        self._one_at_a_time = asyncio.Lock()

    async def take(
        self,
        receiver: str,
        mirror: Mirror,
        *,
        reason: str,
        status: Status | None = None,
        modes: tuple[OutputMode, ...] | None = None,
    ) -> Snapshot:
        """File and event are durable when it returns. `modes` stand in for a status that isn't there.

        Raises StoreUnavailable; cancelled, the file may stand alone.
        """
        async with self._one_at_a_time:
            return await take(
                receiver,
                mirror,
                reason=reason,
                modes=status.output_modes if status else modes,
                snapshots=self._snapshots,
                journal=self._journal,
                clock=self._clock,
                trust=self._trust,
            )

    async def take_in(self, snapshot: Snapshot) -> Snapshot:
        """Keep a snapshot of another site under a name that no receiver here can have; the same one twice is one."""
        foreign = snapshot.receiver if snapshot.receiver.startswith(IMPORTED) else f"{IMPORTED}{snapshot.receiver}"
        async with self._one_at_a_time:
            known = await self._snapshots.list()
            second = f"{snapshot.taken:%Y%m%dT%H%M%SZ}"
            for snapshot_id in known:
                if snapshot_id.startswith(f"{second}-"):
                    kept = replace(snapshot, id=snapshot_id, receiver=foreign)
                    if await self._snapshots.read(snapshot_id) == kept:
                        return kept
            kept = replace(snapshot, id=_free_id(second, foreign, known), receiver=foreign)
            await self._snapshots.write(kept)
            return kept


async def take(
    receiver: str,
    mirror: Mirror,
    *,
    reason: str,
    modes: tuple[OutputMode, ...] | None,
    snapshots: Snapshots,
    journal: Journal,
    clock: Clock,
    trust: Trust,
) -> Snapshot:
    """Write a snapshot and its event. One at a time for a receiver, or two could choose the same id."""
    taken = clock.now()
    snapshot = Snapshot(
        id=_free_id(f"{taken:%Y%m%dT%H%M%SZ}", receiver, await snapshots.list()),
        receiver=receiver,
        taken=taken,
        clock_trusted=trust.trusted,
        reason=reason,
        identity=mirror.identity,
        limits=mirror.limits,
        revision=mirror.revision,
        slots=tuple(mirror.slots[number] for number in sorted(mirror.slots)),
        block_crcs=mirror.block_crcs,
        settings=mirror.settings,
        output_modes=modes,
    )
    await snapshots.write(snapshot)
    data = {"snapshot": snapshot.id, "reason": reason, "revision": snapshot.revision, "slots": len(snapshot.slots)}
    await journal.commit(Commit(events=(EventDraft(EventName.SNAPSHOT_TAKEN, receiver, data),)))
    return snapshot


def _free_id(second: str, receiver: str, taken: tuple[str, ...]) -> str:
    """`<time>-<number within the second>-<receiver>`; sorts by time, and within the second by number."""
    name = _NOT_IN_AN_ID.sub("_", receiver)
    numbers = [int(known.split("-")[1]) for known in taken if known.startswith(f"{second}-")]
    return f"{second}-{max(numbers, default=0) + 1:03d}-{name}"
