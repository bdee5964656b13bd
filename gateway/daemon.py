"""The daemon: the one place that builds every part, plugs the ports together and owns the task tree.

`plan_parts` checks everything that can be checked without opening anything (maps, drivers, secrets, timetable), so
that `gatepost check` and the start find the same faults. `run_gateway` then opens the store first, starts lines, watch
and sync, and opens the API last. A task that ends by itself ends the process, and the service manager starts it again.
"""

from __future__ import annotations

import asyncio
import ssl
from collections.abc import Callable, Coroutine, Mapping, Sequence
from contextlib import AsyncExitStack
from dataclasses import dataclass, field
from datetime import timedelta
from functools import partial
from importlib.metadata import version as package_version
from typing import Any
from zoneinfo import ZoneInfo

import structlog

from gateway.api.application import build_application
from gateway.api.listeners import Listener, TcpListener, UnixListener
from gateway.api.services import Notice, Services
from gateway.api.serving import serve
from gateway.archive.clearing import ClearingDesk
from gateway.archive.restoring import RestoreDesk
from gateway.archive.shelf import Shelf
from gateway.archive.taking import Archivist
from gateway.clock import Clock
from gateway.domain.events import EventDraft, EventName
from gateway.domain.live import LinkState
from gateway.domain.plan import Plan
from gateway.domain.roster import Entry
from gateway.errors import SettingsFault, StoreError
from gateway.gate_settings import build_gates
from gateway.line import Line, LineConfig
from gateway.maps import load_map
from gateway.outlet_plans import About, OutletBuilder, Running, plan_outlet
from gateway.outlets.house import OutletHouse
from gateway.outlets.standing import Standing
from gateway.ports import (
    Commit,
    LineCount,
    LineCounts,
    Receiver,
    ReceiverFacts,
    RevocationListSource,
    RosterSource,
    Timetable,
    Trust,
)
from gateway.receivers.building import REGISTER_MAP, DriverOrder, build_receiver, find_driver
from gateway.receivers.password_book import PasswordBook
from gateway.roster import RosterFileReader
from gateway.roster.building import Reach, Signing, build_list_source, build_source
from gateway.roster.credentials import AuthScheme, authorization
from gateway.roster.unset_source import UnsetSource
from gateway.settings import RosterSettings, Settings
from gateway.store.opening import Store, open_store
from gateway.store.passwords import PasswordFile
from gateway.sync.applying import Applier
from gateway.sync.drafting import Drafter
from gateway.sync.due import Due
from gateway.sync.plan_ids import PlanIds
from gateway.sync.preparing import Preparer
from gateway.sync.restoring import Restorer
from gateway.sync.resuming import resume_plans
from gateway.sync.revocation_list import RevocationList
from gateway.sync.revoking import Revoker
from gateway.sync.roster_keeper import RosterKeeper
from gateway.sync.runner import SyncRunner
from gateway.sync.settings_desk import SettingsDesk
from gateway.sync.site import Site
from gateway.sync.timetable import WallTimetable
from gateway.sync.turns import Turns
from gateway.sync.waiting import Waiting
from gateway.sync.wall_clock_cron import Every, WallClockCron
from gateway.system.boot import read_boot_id
from gateway.system.disk import read_disk_space
from gateway.system.notify import ServiceManager
from gateway.system.secrets import read_secret
from gateway.system.trust import Assume, ClockTrust
from gateway.system.watchdog import Watchdog
from gateway.watch.conditions import ConditionWatch, Premises
from gateway.watch.service import Watch, Watched
from gateway.watch.telling import Names
from gateway.watch.why import Explainer

__all__ = ["Parts", "plan_parts", "run_gateway"]

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.daemon")

_FORGET_EVERY_S = 6 * 3600.0
#: Our choice: some 200 MB, years of a quiet site; outlets can catch up as far back.
_KEEP_EVENTS = 500_000
_LOW_DISK_BYTES = 64 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class Parts:
    """Everything that the settings ask for, checked, with nothing opened and nothing running yet."""

    lines: Mapping[str, Line]
    receivers: Mapping[str, Receiver]
    facts: tuple[ReceiverFacts, ...]
    line_of: Mapping[str, str]
    source: RosterSource
    list_source: RevocationListSource | None
    reader: RosterFileReader
    rule: WallClockCron | Every | None
    snapshot_rule: WallClockCron | None
    zone: ZoneInfo
    listeners: tuple[Listener, ...] = field(default=())
    passwords: Mapping[str, PasswordBook] = field(default_factory=dict)
    outlets: tuple[OutletBuilder, ...] = ()


def plan_parts(settings: Settings, clock: Clock, trust: Trust | None = None) -> Parts:
    """Build all that needs no opening. Raises SettingsFault and MapFault with what to write instead.

    With `trust` None the clock is taken as right when signatures expire.
    """
    zone = ZoneInfo(settings.gateway.time_zone)
    maps = {name: load_map(receiver.map) for name, receiver in settings.receivers.items() if _mapped(settings, name)}
    lines = {
        name: Line(LineConfig(name=name, **line.model_dump()), clock)
        for name, line in settings.lines.items()
        if any(receiver.line == name and _mapped(settings, key) for key, receiver in settings.receivers.items())
    }
    receivers: dict[str, Receiver] = {}
    passwords: dict[str, PasswordBook] = {}
    facts = []
    for name, receiver in settings.receivers.items():
        password = passwords[name] = _password(settings, name)
        if name in maps:
            receivers[name] = build_receiver(
                name, maps[name], lines[receiver.line], receiver.address, password,
                password_keeper=password.keep, clock=clock,
            )  # fmt: skip
        else:
            line = settings.lines[receiver.line]
            order = DriverOrder(name, line.port, line.baud, receiver.address, receiver.map, clock, password)
            receivers[name] = find_driver(receiver.driver)(order)
        positions = maps[name].limits.positions if name in maps else 8
        facts.append(ReceiverFacts(name, receiver.output_names, positions or 8, receiver.input_names))
    roster = settings.roster
    return Parts(
        lines=lines,
        receivers=receivers,
        facts=tuple(facts),
        line_of={name: receiver.line for name, receiver in settings.receivers.items()},
        source=_source(settings, clock, trust),
        list_source=_list_source(settings, clock, trust),
        reader=RosterFileReader(zone, roster.encoding if roster else None),
        rule=_rule(settings, zone),
        snapshot_rule=_snapshot_rule(settings, zone),
        zone=zone,
        listeners=_listeners(settings),
        passwords=passwords,
        outlets=_outlets(settings, zone),
    )


def _outlets(settings: Settings, zone: ZoneInfo) -> tuple[OutletBuilder, ...]:
    about = About(settings.gateway.site, tuple(settings.receivers), zone, package_version("gatepost"))
    return tuple(plan_outlet(name, outlet, about) for name, outlet in settings.outlets.items())


def _mapped(settings: Settings, receiver: str) -> bool:
    return settings.receivers[receiver].driver == REGISTER_MAP


def _password(settings: Settings, receiver: str) -> PasswordBook:
    """The settings' link password, read again whenever one is needed, and what was kept since a change."""
    place = settings.receivers[receiver].link_password_file
    read: Callable[[], str] = partial(read_secret, place) if place else str
    return PasswordBook(read, PasswordFile(settings.gateway.state, receiver))


def _rule(settings: Settings, zone: ZoneInfo) -> WallClockCron | Every | None:
    roster = settings.roster
    if roster is None or (roster.schedule is None and roster.every_minutes is None):
        return None
    return Every(roster.every_minutes * 60) if roster.every_minutes else WallClockCron(roster.schedule or "", zone)


def _snapshot_rule(settings: Settings, zone: ZoneInfo) -> WallClockCron | None:
    return None if settings.snapshots.schedule == "off" else WallClockCron(settings.snapshots.schedule, zone)


def _source(settings: Settings, clock: Clock, trust: Trust | None) -> RosterSource:
    roster = settings.roster
    if roster is None:
        return UnsetSource()
    signing = _signing(settings, roster, trust) if roster.signature == "required" else None
    return build_source(roster.source, roster.groups, reach=_reach(roster), clock=clock, signing=signing)


def _list_source(settings: Settings, clock: Clock, trust: Trust | None) -> RevocationListSource | None:
    roster = settings.roster
    if roster is None or roster.revocations is None:
        return None
    signing = _signing(settings, roster, trust)
    return build_list_source(roster.revocations, reach=_reach(roster), clock=clock, signing=signing)


def _signing(settings: Settings, roster: RosterSettings, trust: Trust | None) -> Signing:
    return Signing(roster.public_keys, ZoneInfo(settings.gateway.time_zone), trust)


def _reach(roster: RosterSettings) -> Reach:
    secret = read_secret(roster.credentials_file) if roster.credentials_file else ""
    return Reach(
        authorization=authorization(AuthScheme(roster.credentials), secret) if secret else None,
        ca_file=roster.ca_file,
        allow_private=roster.allow_private,
        allow_loopback=roster.allow_loopback,
        allow_plain_http=roster.allow_plain_http,
    )


def _listeners(settings: Settings) -> tuple[Listener, ...]:
    api = settings.api
    host, port = api.host_and_port
    tls: ssl.SSLContext | None = None
    if api.tls_certificate is not None and api.tls_key is not None:
        tls = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        tls.minimum_version = ssl.TLSVersion.TLSv1_2
        try:
            tls.load_cert_chain(api.tls_certificate, api.tls_key)
        except (OSError, ssl.SSLError) as fault:
            raise SettingsFault(
                f"The certificate {api.tls_certificate} or its key can't be used: {fault}.",
                remedy="Name a PEM certificate and its key, both readable by the gateway.",
            ) from fault
    listeners: list[Listener] = [TcpListener(host, port, tls, api.behind_proxy)]
    if api.socket is not None:
        listeners.append(UnixListener(api.socket))
    return tuple(listeners)


async def run_gateway(settings: Settings, *, clock: Clock, stop: asyncio.Event) -> None:
    """Run until `stop` is set. Raises SettingsFault, MapFault, Refused (`state-in-use`, ...), StoreError."""
    trust = ClockTrust(clock, assume=Assume(settings.gateway.clock))
    parts = plan_parts(settings, clock, trust)
    await trust.look()
    store = await open_store(settings.gateway.state, clock, trust, boot_id=read_boot_id())
    async with AsyncExitStack() as stack:
        stack.push_async_callback(store.close)
        await _Gateway(settings, parts, store=store, clock=clock, trust=trust).run(stop)


class _Gateway:
    """The running whole: builds the use cases from the parts, and the tree of tasks."""

    def __init__(self, settings: Settings, parts: Parts, *, store: Store, clock: Clock, trust: ClockTrust) -> None:
        self._settings = settings
        self._parts = parts
        self._store = store
        self._clock = clock
        self._trust = trust
        self._manager = ServiceManager()
        self._version = package_version("gatepost")
        site = Site(settings.gateway.site, parts.zone, parts.receivers, {fact.name: fact for fact in parts.facts})
        journal, mirrors = store.journal, store.mirrors
        self._watch = Watch(
            [Watched(driver, parts.line_of[name], settings.receivers[name].polls_per_second,
                     settings.receivers[name].inverted_inputs)
             for name, driver in parts.receivers.items()],
            journal=journal, mirrors=mirrors, plans=store.plans, clock=clock,
            names=Names(self._holder, self._position, self._output, self._input),
        )  # fmt: skip
        keeper = self._watch.keeper
        self._trust_told = False
        self._indexed: tuple[str, dict[int, Entry]] = ("", {})
        self._timetable: WallTimetable | None = None
        if parts.rule is not None and settings.roster is not None:
            self._timetable = WallTimetable(
                rule=parts.rule, clock=clock, trust=trust, journal=journal, runs=store.runs,
                spread_s=float(settings.roster.spread_s), seed=settings.gateway.site,
            )  # fmt: skip
        self._rosters = RosterKeeper(
            source=parts.source, reader=parts.reader, archive=store.roster_files, ledger=store.ledger,
            journal=journal, clock=clock, receivers=parts.facts, timetable=self._timetable,
        )  # fmt: skip
        premises = _premises(settings, parts)
        self._conditions = ConditionWatch(
            premises, journal=journal, documents=store.documents, live=self._watch.live, clock=clock, trust=trust,
            boot_id=read_boot_id(), lines=_Lines(parts.lines), revoked=store.ledger.revocations,
            known=lambda: self._rosters.in_force.roster.by_serial() if self._rosters.in_force else (),
        )  # fmt: skip
        self._whys = Explainer(
            premises, site=settings.gateway.site, journal=journal, mirrors=mirrors, live=self._watch.live, clock=clock,
            roster=lambda: self._rosters.in_force.roster if self._rosters.in_force else None,
            revoked=store.ledger.revocations,
        )  # fmt: skip
        self._site, ids, turns = site, PlanIds(), Turns()
        self._ids = ids
        archive = Archivist(snapshots=store.snapshots, journal=journal, clock=clock, trust=trust)
        drafter = Drafter(
            site=site, clock=clock, trust=trust, ledger=store.ledger, rosters=self._rosters, ids=ids,
            unknown=settings.roster.unknown if settings.roster else "remove",
        )  # fmt: skip
        preparer = Preparer(
            drafter=drafter, keeper=keeper, archive=archive, journal=journal, plans=store.plans, live=self._watch.live
        )
        self._desk = SettingsDesk(site=site, journal=journal, mirrors=mirrors, keeper=keeper)
        applier = Applier(
            clock=clock, journal=journal, mirrors=mirrors, keeper=keeper, turns=turns, settings=self._desk
        )
        self._waiting = Waiting(ledger=store.ledger, journal=journal, plans=store.plans, rosters=self._rosters)
        self._runner = SyncRunner(
            site=site, journal=journal, drafter=drafter, preparer=preparer, applier=applier, waiting=self._waiting
        )
        self._restorer = Restorer(
            site=site, clock=clock, journal=journal, plans=store.plans, keeper=keeper, archive=archive,
            drafter=drafter.restores, runner=self._runner, waiting=self._waiting, live=self._watch.live,
        )  # fmt: skip
        self._shelf = Shelf(
            archivist=archive, snapshots=store.snapshots, receivers=site.receivers, facts=site.facts, keeper=keeper,
            mirrors=mirrors, live=self._watch.live, plans=store.plans, waits=self._waiting, clock=clock, trust=trust,
            keep_last=settings.snapshots.keep_last, keep_months=settings.snapshots.keep_months,
        )  # fmt: skip
        self._restores = RestoreDesk(
            snapshots=store.snapshots, receivers=site.receivers, facts=site.facts, keeper=keeper,
            live=self._watch.live, runs=self._restorer,
        )  # fmt: skip
        self._clearing = ClearingDesk(
            receivers=site.receivers, keeper=keeper, archive=archive, live=self._watch.live, runs=self._restorer,
            waits=self._waiting, clock=clock,
        )  # fmt: skip
        self._snapshot_times: WallTimetable | None = None
        if parts.snapshot_rule is not None:
            self._snapshot_times = WallTimetable(
                rule=parts.snapshot_rule, clock=clock, trust=trust, journal=journal, runs=store.runs, name="snapshots"
            )
        self._revoker = Revoker(
            site=site, clock=clock, journal=journal, ledger=store.ledger, proofs=store.proofs, mirrors=mirrors,
            keeper=keeper, turns=turns,
        )  # fmt: skip
        self._list: RevocationList | None = None
        if parts.list_source is not None:
            self._list = RevocationList(
                source=parts.list_source, revocations=self._revoker, ledger=store.ledger, journal=journal,
                clock=clock, seed=settings.gateway.site,
            )  # fmt: skip

        running = Running(
            journal=journal, runs=store.runs, trust=trust, clock=clock, standing=self._standing,
            documents=Standing(self._watch.live, parts.facts, self._conditions.gates.gates).documents,
        )  # fmt: skip
        self._outlets = OutletHouse(
            [build(running) for build in parts.outlets], journal=journal, outbox=store.outbox, clock=clock
        )

    # --- running ---

    async def run(self, stop: asyncio.Event) -> None:
        """The task tree. Ends in order when `stop` is set."""
        await self._outlets.load()
        await self._tell(EventName.GATEWAY_STARTED, {"version": self._version})
        await self._rosters.load()
        await resume_plans(
            plans=self._store.plans, journal=self._store.journal, runner=self._runner, ids=self._ids, site=self._site
        )
        app = build_application(self._services(), version=self._version, allowed_hosts=self._settings.api.hosts)
        async with asyncio.TaskGroup() as group, serve(app, self._parts.listeners) as serving:
            tasks = [group.create_task(work, name=name) for name, work in self._work().items()]
            log.info("gateway.ready", version=self._version, ports=serving.ports)
            self._manager.ready("watching")
            await stop.wait()
            self._manager.stopping("stopping")
            for task in tasks:
                task.cancel()
        await self._tell(EventName.GATEWAY_STOPPED, {"version": self._version})

    def _work(self) -> dict[str, Coroutine[Any, Any, None]]:
        work: dict[str, Coroutine[Any, Any, None]] = {
            f"line {name}": line.run() for name, line in self._parts.lines.items()
        }
        work |= {
            "watch": self._watch.run(),
            "conditions": self._conditions.run(),
            "outlets": self._outlets.run(),
            "plans": self._runner.run(),
            "restores": self._restorer.run(),
            "revocations": self._revoker.run(),
            "clock": self._trust.watch(self._tell_trust),
            "retention": self._forget(),
            "first roster": self._fetch_first(),
        }
        if self._list is not None:
            work["revocation list"] = self._list.run()
        if self._timetable is not None:
            work["timetable"] = self._timetable.run(self._sync)
        if self._snapshot_times is not None:
            work["snapshots"] = self._snapshot_times.run(self._archive_due)
        if self._manager.watchdog_s is not None:
            work["watchdog"] = self._watch_over(self._manager.watchdog_s)
        return work

    async def _archive_due(self, due: Due) -> None:
        await self._shelf.take_due()

    async def _sync(self, due: Due) -> None:
        """One due time: fetch, and bring every receiver to the roster in force."""
        await self._rosters.fetch(due=due)
        if self._rosters.in_force is None:
            return
        for name, outcome in (await self._runner.apply_all()).items():
            if isinstance(outcome, Plan):
                log.info("sync.done", receiver=name, state=str(outcome.state), changes=len(outcome.changes))
            else:
                log.warning("sync.failed", receiver=name, code=outcome.code)

    async def _fetch_first(self) -> None:
        """A gateway that never had a roster reads it at once, so that it can be previewed. Nothing is written."""
        if self._rosters.in_force is None and self._settings.roster is not None:
            await self._rosters.fetch()

    async def _forget(self) -> None:
        """Presses and snapshots are kept no longer than the settings say, counted only by a clock that is right."""
        while True:
            try:
                await self._store.journal.forget_beyond(_KEEP_EVENTS)
            except StoreError as fault:
                log.warning("retention.failed", code=fault.code)
            if self._trust.trusted:
                before = self._clock.now() - timedelta(days=self._settings.gateway.keep_heard_days)
                try:
                    await self._store.journal.forget_heard(before)
                    await self._shelf.prune()
                except StoreError as fault:
                    log.warning("retention.failed", code=fault.code)
            await self._clock.sleep(_FORGET_EVERY_S)

    async def _watch_over(self, interval_s: float) -> None:
        """Feed the service manager's watchdog only while the store and every line make progress."""
        watchdog = Watchdog(self._clock, self._manager.watchdog, interval_s)
        store_lives = watchdog.register("store")
        line_lives = {name: watchdog.register(f"line {name}") for name in self._parts.lines}
        sent = dict.fromkeys(self._parts.lines, -1)
        async with asyncio.TaskGroup() as group:
            group.create_task(watchdog.run())
            while True:
                await self._store.alive()
                store_lives()
                for name, line in self._parts.lines.items():
                    now = line.counters.frames_sent
                    if now != sent[name] or line.state.kind != "open" or not self._is_polled(name):
                        line_lives[name]()
                    sent[name] = now
                await self._clock.sleep(interval_s / 8)

    def _is_polled(self, line: str) -> bool:
        on_line = [name for name, its_line in self._parts.line_of.items() if its_line == line]
        return any(self._watch.live.receiver(name).link is LinkState.ONLINE for name in on_line)

    # --- telling ---

    async def _tell(self, name: EventName, data: Mapping[str, object]) -> None:
        try:
            await self._store.journal.commit(Commit(events=(EventDraft(name, data=data),)))
        except StoreError as fault:
            log.warning("event.lost", name=str(name), code=fault.code)

    async def _tell_trust(self, trusted: bool) -> None:
        """A clock that is right from the start is no news."""
        first, self._trust_told = not self._trust_told, True
        if first and trusted:
            return
        await self._tell(EventName.CLOCK_TRUSTED if trusted else EventName.CLOCK_UNTRUSTED, {})

    # --- names for people ---

    def _entry(self, serial: int) -> Entry | None:
        in_force = self._rosters.in_force
        if in_force is None:
            return None
        if self._indexed[0] != in_force.roster.digest:
            self._indexed = (in_force.roster.digest, in_force.roster.by_serial())
        return self._indexed[1].get(serial)

    def _holder(self, serial: int) -> str | None:
        entry = self._entry(serial)
        return entry.holder if entry else None

    def _position(self, serial: int, number: int) -> str:
        entry, in_force = self._entry(serial), self._rosters.in_force
        kind = in_force.roster.kinds.get(entry.kind) if entry and in_force else None
        return kind.label_of(number) if kind else str(number)

    def _output(self, receiver: str, number: int) -> str:
        return self._site.facts[receiver].outputs.get(number, "")

    def _input(self, receiver: str, number: int) -> str:
        return self._site.facts[receiver].inputs.get(number, "")

    # --- the API's ports ---

    def _services(self) -> Services:
        store = self._store
        return Services(
            gateway_id=self._settings.gateway.site,
            clock=self._clock,
            trust=self._trust,
            live=self._watch.live,
            journal=store.journal,
            mirrors=store.mirrors,
            keeper=self._watch.keeper,
            plans=store.plans,
            sync=self._runner,
            roster=self._rosters,
            reader=self._parts.reader,
            timetable=self._timetable or _NoTimetable(),
            revocations=self._revoker,
            settings=self._desk,
            tokens=store.tokens,
            audit=store.audit,
            gates=self._conditions.gates,
            conditions=self._conditions,
            whys=self._whys,
            snapshots=self._shelf,
            restores=self._restores,
            waits=self._waiting,
            clearing=self._clearing,
            outlets=self._outlets,
            facts=self._parts.facts,
            capabilities={name: driver.capabilities for name, driver in self._parts.receivers.items()},
            journal_available=lambda: not store.journal.problem,
            notices=self._notices,
        )

    def _password_notice(self, receiver: str) -> Notice:
        place = self._settings.receivers[receiver].link_password_file
        return Notice(
            "password-kept",
            f"The link password of {receiver} was changed from here, and the settings don't have the new one; "
            "the gateway works with its own copy.",
            f"Write the new one into {place} as well." if place else "Put it into a file named as link_password_file.",
        )

    def _standing(self) -> Sequence[str]:
        """What needs somebody, in sentences."""
        return [condition.sentence for condition in self._conditions.open()]

    def _notices(self) -> Sequence[Notice]:
        notices = [Notice("store", text) for text in self._store.notices]
        if self._list is not None and (listed := self._list.state()).problem:
            notices.append(Notice("revocation-list", listed.problem, listed.remedy))
        notices += [Notice("outlet-failing", f"{state.name}: {state.problem}", state.remedy)
                    for state in self._outlets.states() if state.state in ("failing", "disabled")]  # fmt: skip
        if self._store.journal.problem:
            notices.append(Notice("journal-unavailable", self._store.journal.problem, "Free space on the card."))
        notices += [self._password_notice(name) for name, book in self._parts.passwords.items()
                    if book.settings_are_behind]  # fmt: skip
        space = read_disk_space(self._store.folder)
        if space.free < _LOW_DISK_BYTES:
            text = f"Only {space.free // 2**20} MiB are free beside the gateway's memory."
            notices.append(Notice("disk-low", text, "Free space on the card before the journal stops."))
        return notices


def _premises(settings: Settings, parts: Parts) -> Premises:
    """Gates, contacts and limits as the conditions need them."""
    contacts = tuple(contact for name, receiver in settings.receivers.items() for contact in receiver.contacts(name))
    return Premises(
        gates=build_gates(settings.gates, settings.receivers),
        contacts=contacts,
        limits=settings.conditions.limits,
        line_of=parts.line_of,
        zone=parts.zone,
    )


@dataclass(frozen=True, slots=True)
class _Lines(LineCounts):
    """How well frames come through; what noise spoils is damaged, or fits another request."""

    lines: Mapping[str, Line]

    def counts(self) -> Mapping[str, LineCount]:
        counters = {name: line.counters for name, line in self.lines.items()}
        return {name: LineCount(each.frames_sent, each.damaged + each.foreign) for name, each in counters.items()}


class _NoTimetable(Timetable):
    """A site that syncs by hand only."""

    def next_run(self) -> None:
        return None
