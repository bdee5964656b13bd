"""The snapshots that are kept: taken when asked for and by timetable, listed, compared, taken in, pruned.

Files never change, so what was read of one is remembered. A receiver that has not changed since its newest snapshot
gets no other one from the timetable.
"""

from __future__ import annotations

import asyncio
import re
from collections.abc import Mapping

import structlog

from gateway.archive.comparing import Side, compare, side_of_mirror, side_of_snapshot
from gateway.archive.pruning import may_go
from gateway.archive.taking import Archivist
from gateway.clock import Clock
from gateway.domain.matching import same_memory
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Capability, Status
from gateway.domain.snapshot import Snapshot
from gateway.domain.urgency import Urgency
from gateway.errors import GatepostError, NotFound, Refused
from gateway.ports import (
    Comparison,
    LiveView,
    MirrorKeeper,
    Mirrors,
    Plans,
    Receiver,
    ReceiverFacts,
    RosterWaits,
    SnapshotHead,
    Snapshots,
    Trust,
)

__all__ = ["KEEP_LAST", "KEEP_MONTHS", "Shelf"]

KEEP_LAST, KEEP_MONTHS = 20, 24
_AN_ID = re.compile(r"\d{8}T\d{6}Z-\d{3,}-.+")

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.archive")


class Shelf:
    """`ports.SnapshotDesk`, the timetable's job and the pruning."""

    def __init__(
        self,
        *,
        archivist: Archivist,
        snapshots: Snapshots,
        receivers: Mapping[str, Receiver],
        facts: Mapping[str, ReceiverFacts],
        keeper: MirrorKeeper,
        mirrors: Mirrors,
        live: LiveView,
        plans: Plans,
        waits: RosterWaits,
        clock: Clock,
        trust: Trust,
        keep_last: int = KEEP_LAST,
        keep_months: int = KEEP_MONTHS,
    ) -> None:
        self._archivist = archivist
        self._snapshots = snapshots
        self._receivers = receivers
        self._facts = facts
        self._keeper = keeper
        self._mirrors = mirrors
        self._live = live
        self._plans = plans
        self._waits = waits
        self._clock = clock
        self._trust = trust
        self._keep_last = keep_last
        self._keep_months = keep_months
        self._heads: dict[str, SnapshotHead] = {}

    # --- asking ---

    async def take(self, receiver: str) -> SnapshotHead:
        """See `ports.SnapshotDesk`."""
        self._check(receiver)
        mirror = await self._keeper.refresh(receiver, urgency=Urgency.BULK)
        return self._remember(await self._take(mirror, "asked"))

    async def take_in(self, content: bytes) -> SnapshotHead:
        """See `ports.SnapshotDesk`."""
        return self._remember(await self._archivist.take_in(await self._snapshots.parse(content)))

    async def heads(
        self, receiver: str | None = None, *, limit: int = 50, before: str | None = None
    ) -> tuple[SnapshotHead, ...]:
        """See `ports.SnapshotDesk`."""
        found: list[SnapshotHead] = []
        for snapshot_id in await self._snapshots.list(receiver):
            if len(found) == limit:
                break
            if before is None or snapshot_id < before:
                found += await self._readable(snapshot_id)
        return tuple(found)

    async def head(self, snapshot_id: str) -> SnapshotHead:
        """See `ports.SnapshotDesk`."""
        return self._heads.get(snapshot_id) or self._remember(await self._snapshots.read(snapshot_id))

    async def export(self, snapshot_id: str) -> bytes:
        """See `ports.SnapshotDesk`."""
        return await self._snapshots.export(snapshot_id)

    async def compare(self, left: str, right: str | None) -> Comparison:
        """See `ports.SnapshotDesk`."""
        first = await self._side(left)
        if right is None:
            right = (await self._snapshots.read(left)).receiver if _AN_ID.fullmatch(left) else left
        second = await self._side(right)
        facts = self._facts.get((await self._receiver_of(right)) or (await self._receiver_of(left)) or "")
        return compare(first, second, facts.outputs if facts else {})

    # --- by itself ---

    async def take_due(self) -> None:
        """Archive every receiver that changed since its newest snapshot. One that can't be reached is passed over."""
        async with asyncio.TaskGroup() as group:
            for name, driver in self._receivers.items():
                if driver.capabilities & {Capability.SLOTS, Capability.SETTINGS}:
                    group.create_task(self._take_if_changed(name), name=f"snapshot of {name}")

    async def prune(self) -> tuple[str, ...]:
        """Remove what the rule lets go; the ids. Nothing while the clock is not known to be right."""
        if not self._trust.trusted:
            return ()
        heads = [head for one in await self._snapshots.list() for head in await self._readable(one)]
        needed = await self._needed()
        gone = may_go(
            heads, keep_last=self._keep_last, keep_months=self._keep_months, needed=needed, now=self._clock.now()
        )
        for snapshot_id in gone:
            await self._snapshots.remove(snapshot_id)
            self._heads.pop(snapshot_id, None)
        return gone

    async def _take_if_changed(self, name: str) -> None:
        try:
            mirror = await self._keeper.refresh(name, urgency=Urgency.BULK)
            if not await self._is_archived(mirror):
                self._remember(await self._take(mirror, "timetable"))
        except GatepostError as fault:
            log.warning("snapshot.not_taken", receiver=name, code=fault.code)

    async def _is_archived(self, mirror: Mirror) -> bool:
        newest = await self.heads(mirror.receiver, limit=1)
        if not newest or newest[0].serial != mirror.identity.serial or newest[0].revision != mirror.revision:
            return False
        if mirror.revision:
            return True
        kept = await self._snapshots.read(newest[0].id)
        return same_memory({slot.number: slot for slot in kept.slots}, mirror.slots) and (
            kept.settings == mirror.settings
        )

    async def _needed(self) -> set[str]:
        waits = self._waits.all().values()
        needed = {wait.snapshot for wait in waits} | {plan.snapshot for plan in await self._plans.unfinished()}
        for wait in waits:
            plan = await self._plans.load(wait.plan) if wait.plan else None
            needed |= {plan.snapshot} if plan else set()
        return needed

    # --- looking things up ---

    async def _take(self, mirror: Mirror, reason: str) -> Snapshot:
        return await self._archivist.take(mirror.receiver, mirror, reason=reason, status=self._status(mirror.receiver))

    async def _readable(self, snapshot_id: str) -> list[SnapshotHead]:
        try:
            return [await self.head(snapshot_id)]
        except (Refused, NotFound):
            return []

    async def _side(self, name: str) -> Side:
        if _AN_ID.fullmatch(name):
            return side_of_snapshot(await self._snapshots.read(name))
        self._check(name)
        mirror = self._mirrors.load(name)
        if mirror is None:
            raise Refused(
                f"The memory of {name} has not been read yet.",
                remedy="Wait until the receiver is online; its state says what is missing.",
                code="mirror-unread",
            )
        status = self._status(name)
        return side_of_mirror(mirror, status.output_modes if status else None)

    async def _receiver_of(self, name: str) -> str | None:
        receiver = (await self.head(name)).receiver if _AN_ID.fullmatch(name) else name
        return receiver if receiver in self._receivers else None

    def _check(self, name: str) -> None:
        if name not in self._receivers:
            known = ", ".join(self._receivers) or "none"
            raise NotFound(
                f"There is neither a receiver nor a snapshot {name}.",
                remedy=f"Receivers are: {known}; `gatepost snapshot list` shows the snapshots.",
            )

    def _status(self, receiver: str) -> Status | None:
        return self._live.receiver(receiver).status

    def _remember(self, snapshot: Snapshot) -> SnapshotHead:
        head = SnapshotHead(
            id=snapshot.id,
            receiver=snapshot.receiver,
            taken=snapshot.taken,
            clock_trusted=snapshot.clock_trusted,
            reason=snapshot.reason,
            serial=snapshot.identity.serial,
            revision=snapshot.revision,
            slots=len(snapshot.slots),
        )
        self._heads[head.id] = head
        return head
