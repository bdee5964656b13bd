"""The start, the task tree and the orderly end.

`run_gateway` opens the store first, starts lines, watch and sync, and opens the API last. A task that ends by itself
ends the process, and the service manager starts it again.
"""

from __future__ import annotations

import asyncio
from collections.abc import Coroutine, Mapping
from contextlib import AsyncExitStack
from importlib.metadata import version as package_version
from typing import Any

import structlog
from aiohttp import web

from gateway.api.application import build_application
from gateway.api.limits import Limits
from gateway.api.serving import serve
from gateway.clock import Clock
from gateway.daemon.ground import Ground
from gateway.daemon.house import House, build_house
from gateway.daemon.parts import plan_parts
from gateway.daemon.pulse import feel_pulse
from gateway.daemon.services import build_services
from gateway.daemon.sync_log import SyncLog
from gateway.daemon.upkeep import forget_in_time, seal_audit, tell_outages, watch_over
from gateway.domain.events import EventDraft, EventName
from gateway.errors import StoreError
from gateway.ports import Commit
from gateway.settings import Settings
from gateway.store.opening import open_store
from gateway.sync.due import Due
from gateway.sync.resuming import resume_plans
from gateway.system.boot import read_boot_id
from gateway.system.notify import ServiceManager
from gateway.system.trust import Assume, ClockTrust

__all__ = ["run_gateway"]

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.daemon")


async def run_gateway(settings: Settings, *, clock: Clock, stop: asyncio.Event) -> None:
    """Run until `stop` is set. Raises SettingsFault, MapFault, Refused (`state-in-use`, ...), StoreError."""
    trust = ClockTrust(clock, assume=Assume(settings.gateway.clock))
    parts = plan_parts(settings, clock, trust)
    await trust.look()
    store = await open_store(
        settings.gateway.state, clock, trust, boot_id=read_boot_id(), signing_key=parts.signing_key
    )
    async with AsyncExitStack() as stack:
        stack.push_async_callback(store.close)
        await _Gateway(build_house(Ground(settings, parts, store, clock, trust))).run(stop)


def _build_api(house: House, version: str) -> web.Application:
    api = house.ground.settings.api
    limits = Limits(
        connections=api.connections, streams=api.streams, requests_per_minute=api.requests_per_minute
    )  # fmt: skip
    return build_application(
        build_services(house), version=version, allowed_hosts=api.hosts, limits=limits, behind_proxy=api.behind_proxy,
        security_contact=api.security_contact or "",
    )  # fmt: skip


class _Gateway:
    """The running whole: the tree of tasks over the house."""

    def __init__(self, house: House) -> None:
        self._house = house
        self._ground = house.ground
        self._manager = ServiceManager()
        self._version = package_version("gatepost")
        self._trust_told = False
        self._sync_log = SyncLog()

    async def run(self, stop: asyncio.Event) -> None:
        """The task tree. Ends in order when `stop` is set."""
        house, store = self._house, self._ground.store
        await house.outlets.load()
        await self._tell(EventName.GATEWAY_STARTED, {"version": self._version})
        await house.rosters.keeper.load()
        await resume_plans(
            plans=store.plans, journal=store.journal, runner=house.syncing.runner, ids=house.syncing.ids,
            site=house.syncing.site,
        )  # fmt: skip
        await house.syncing.visits.load()
        app = _build_api(house, self._version)
        async with asyncio.TaskGroup() as group, serve(app, self._ground.parts.listeners) as serving:
            tasks = [group.create_task(work, name=name) for name, work in self._work().items()]
            log.info("gateway.ready", version=self._version, ports=serving.ports)
            self._manager.ready("watching")
            await stop.wait()
            self._manager.stopping("stopping")
            for task in tasks:
                task.cancel()
        await self._tell(EventName.GATEWAY_STOPPED, {"version": self._version})

    def _work(self) -> dict[str, Coroutine[Any, Any, None]]:
        house, syncing = self._house, self._house.syncing
        work: dict[str, Coroutine[Any, Any, None]] = {
            f"line {name}": line.run() for name, line in self._ground.parts.lines.items()
        }
        work |= {
            "watch": house.watching.watch.run(),
            "conditions": house.watching.conditions.run(),
            "outlets": house.outlets.run(),
            "operating": house.operating.run(),
            "visits": syncing.work.run(),
            "plans": syncing.runner.run(),
            "restores": syncing.restorer.run(),
            "visit sheets": syncing.visits.run(),
            "revocations": syncing.revoker.run(),
            "drift": syncing.drift.run(),
            "dates": syncing.dates.run(),
            "enrolments": syncing.enrolling.enroller.run(),
            "overrides": syncing.enrolling.runs.run(),
            "roster takes over": syncing.enrolling.desk.run(),
            "clock": self._ground.trust.watch(self._tell_trust),
            "retention": forget_in_time(house),
            "outages": tell_outages(
                lambda: self._ground.store.journal.problem, self._ground.store.journal, self._ground.clock
            ),
            "audit": seal_audit(self._ground.store.audit, self._ground.store.journal, self._ground.clock),
            "pulse": feel_pulse(self._ground, house.watching, house.pulse),
            "first roster": self._fetch_first(),
        }
        if syncing.revocation_list is not None:
            work["revocation list"] = syncing.revocation_list.run()
        if house.rosters.timetable is not None:
            work["timetable"] = house.rosters.timetable.run(self._sync)
        if syncing.snapshot_times is not None:
            work["snapshots"] = syncing.snapshot_times.run(self._archive_due)
        if self._manager.watchdog_s is not None:
            work["watchdog"] = watch_over(house, self._manager, self._manager.watchdog_s)
        return work

    # --- what falls due ---

    async def _archive_due(self, due: Due) -> None:
        await self._house.syncing.shelf.take_due()

    async def _sync(self, due: Due) -> None:
        """One due time: fetch, and bring every receiver to the roster in force."""
        rosters = self._house.rosters.keeper
        await rosters.fetch(due=due)
        if rosters.in_force is None:
            return
        self._sync_log.note(await self._house.syncing.runner.apply_all())

    async def _fetch_first(self) -> None:
        """A gateway that never had a roster reads it at once, so that it can be previewed. Nothing is written.

        One that keeps it itself reads it at every start: an edit may have been kept and cut off before it was in force.
        """
        rosters, roster = self._house.rosters.keeper, self._ground.settings.roster
        await self._house.people.own.mend()
        if roster is not None and (rosters.in_force is None or roster.local):
            await rosters.fetch()

    # --- telling ---

    async def _tell(self, name: EventName, data: Mapping[str, object]) -> None:
        try:
            await self._ground.store.journal.commit(Commit(events=(EventDraft(name, data=data),)))
        except StoreError as fault:
            log.warning("event.lost", name=str(name), code=fault.code)

    async def _tell_trust(self, trusted: bool) -> None:
        """A clock that is right from the start is no news."""
        first, self._trust_told = not self._trust_told, True
        if first and trusted:
            return
        await self._tell(EventName.CLOCK_TRUSTED if trusted else EventName.CLOCK_UNTRUSTED, {})
