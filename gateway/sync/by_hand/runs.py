"""Plans of every receiver of the site: written over the line where there is one, else put on a visit sheet."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager

from gateway.domain.mirror import Mirror
from gateway.domain.plan import Plan
from gateway.ports import Aim, Progress, SyncRuns
from gateway.sync.by_hand.desk import VisitDesk
from gateway.sync.preparing import Prepared, Preparer
from gateway.sync.restoring import Restorer
from gateway.sync.site import Site

__all__ = ["SiteRestores", "SiteRuns"]


class SiteRuns:
    """`ports.SyncRuns` over the runner and the visit sheets."""

    def __init__(self, runner: SyncRuns, desk: VisitDesk, *, preparer: Preparer, site: Site) -> None:
        self._runner = runner
        self._desk = desk
        self._preparer = preparer
        self._site = site

    async def preview(self, receiver: str) -> Plan:
        if receiver not in self._site.by_hand:
            return await self._runner.preview(receiver)
        return await self._preparer.preview(receiver)

    def draft(self, mirror: Mirror) -> Plan:
        if mirror.receiver not in self._site.by_hand:
            return self._runner.draft(mirror)
        return self._desk.draft(mirror)

    async def apply(self, receiver: str, *, approve: bool = False, progress: Progress | None = None) -> Plan:
        """Without a line: the plan that now stands on the sheet, about to be carried out by hand."""
        if receiver not in self._site.by_hand:
            return await self._runner.apply(receiver, approve=approve, progress=progress)
        return await self._desk.current_plan(receiver)

    async def start(self, receiver: str, *, asked_by: str) -> Plan:
        if receiver not in self._site.by_hand:
            return await self._runner.start(receiver, asked_by=asked_by)
        return await self._desk.current_plan(receiver)

    async def approve(self, plan_id: str, *, asked_by: str) -> Plan:
        held = await self._preparer.held(plan_id)
        if held.receiver not in self._site.by_hand:
            return await self._runner.approve(plan_id, asked_by=asked_by)
        return await self._desk.approve(plan_id)

    async def decline(self, plan_id: str, *, asked_by: str, reason: str) -> Plan:
        held = await self._preparer.held(plan_id)
        if held.receiver not in self._site.by_hand:
            return await self._runner.decline(plan_id, asked_by=asked_by, reason=reason)
        return await self._preparer.refusals.refuse(held, asked_by=asked_by, reason=reason)

    def progress(self, plan_id: str) -> tuple[int, int, str] | None:
        return self._runner.progress(plan_id) or self._desk.plan_progress(plan_id)


class SiteRestores:
    """`ports.RestoreRuns` over the restorer and the visit sheets."""

    def __init__(self, restorer: Restorer, desk: VisitDesk, *, site: Site) -> None:
        self._restorer = restorer
        self._desk = desk
        self._site = site

    def draft(self, mirror: Mirror, aim: Aim, *, reason: str) -> Plan:
        return self._restorer.draft(mirror, aim, reason=reason)

    async def start(
        self,
        receiver: str,
        aim: Aim,
        *,
        reason: str,
        snapshot: str,
        asked_by: str,
        before: Callable[[], Awaitable[None]] | None = None,
    ) -> Plan:
        """Without a line: the plan that now stands on the sheet; the roster waits there as anywhere."""
        if receiver not in self._site.by_hand:
            return await self._restorer.start(
                receiver, aim, reason=reason, snapshot=snapshot, asked_by=asked_by, before=before
            )

        async def prepare(mirror: Mirror) -> Prepared:
            if before is not None:
                await before()
            return await self._restorer.prepare(mirror, aim, reason=reason, snapshot=snapshot, asked_by=asked_by)

        return await self._desk.put_on(receiver, prepare)

    @asynccontextmanager
    async def turn(self, receiver: str) -> AsyncIterator[None]:
        async with self._restorer.turn(receiver):
            yield
