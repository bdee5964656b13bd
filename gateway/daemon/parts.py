"""All that the settings ask for, built and checked with nothing opened.

`gatepost check` and the start go through here, so that they find the same faults. Knows the settings and how each edge
is built; starts nothing and keeps nothing.
"""

from __future__ import annotations

import ssl
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from importlib.metadata import version as package_version
from zoneinfo import ZoneInfo

from gateway.api.listeners import Listener, TcpListener, UnixListener
from gateway.clock import Clock
from gateway.daemon.outlet_plans import About, OutletBuilder, plan_outlet
from gateway.domain.receiver import Limits
from gateway.errors import MapFault, SettingsFault
from gateway.line import Line, LineConfig
from gateway.maps import ReceiverMap, load_map
from gateway.ports import (
    KeptRosters,
    Receiver,
    ReceiverFacts,
    RevocationListSource,
    RosterSource,
    Trust,
)
from gateway.receivers.building import REGISTER_MAP, DriverOrder, build_receiver, find_driver
from gateway.receivers.manual import ManualReceiver
from gateway.receivers.password_book import PasswordBook
from gateway.roster import RosterFileReader
from gateway.roster.building import Reach, Signing, build_list_source, build_source
from gateway.roster.credentials import AuthScheme, authorization
from gateway.roster.local_source import LocalSource
from gateway.roster.unset_source import UnsetSource
from gateway.settings import ReceiverSettings, RosterSettings, Settings
from gateway.store.keptrosters import KeptRosterFiles
from gateway.store.passwords import PasswordFile
from gateway.store.signingkey import SigningKey, parse_private_key
from gateway.sync.naming import NamesNow
from gateway.sync.wall_clock_cron import Every, WallClockCron
from gateway.system.secrets import read_secret

__all__ = ["Parts", "plan_parts"]


@dataclass(frozen=True, slots=True)
class Parts:
    """Everything that the settings ask for, checked, with nothing opened and nothing running yet."""

    lines: Mapping[str, Line]
    receivers: Mapping[str, Receiver]
    by_hand: Mapping[str, ManualReceiver]
    names: NamesNow
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
    signing_key: SigningKey | None = None
    kept_rosters: KeptRosters | None = None
    outlets: tuple[OutletBuilder, ...] = ()

    @property
    def all_receivers(self) -> Mapping[str, Receiver]:
        """Those on lines and those that no line reaches, in the order of the settings."""
        return {fact.name: self.receivers.get(fact.name) or self.by_hand[fact.name] for fact in self.facts}


def plan_parts(settings: Settings, clock: Clock, trust: Trust | None = None) -> Parts:
    """Build all that needs no opening. Raises SettingsFault and MapFault with what to write instead.

    With `trust` None the clock is taken as right when signatures expire.
    """
    zone = ZoneInfo(settings.gateway.time_zone)
    maps = {name: _map(name, receiver.map) for name, receiver in settings.receivers.items() if _mapped(settings, name)}
    lines = {
        name: Line(LineConfig(name=name, **line.model_dump()), clock)
        for name, line in settings.lines.items()
        if any(receiver.line == name and _mapped(settings, key) for key, receiver in settings.receivers.items())
    }
    receivers: dict[str, Receiver] = {}
    by_hand: dict[str, ManualReceiver] = {}
    passwords: dict[str, PasswordBook] = {}
    names = NamesNow({name: receiver.output_names for name, receiver in settings.receivers.items()})
    facts = []
    for name, receiver in settings.receivers.items():
        if receiver.by_hand:
            by_hand[name] = manual = ManualReceiver(name, _manual_limits(receiver))
            facts.append(_facts(names, name, {}, receiver.positions, manual.limits.outputs))
            continue
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
        outputs = maps[name].limits.outputs if name in maps else 8
        facts.append(_facts(names, name, receiver.input_names, positions or 8, outputs))
    roster = settings.roster
    kept_rosters = KeptRosterFiles(settings.gateway.state) if roster is not None and roster.local else None
    return Parts(
        lines=lines,
        receivers=receivers,
        by_hand=by_hand,
        names=names,
        facts=tuple(facts),
        line_of={name: settings.receivers[name].line for name in receivers},
        source=LocalSource(kept_rosters) if kept_rosters is not None else _source(settings, clock, trust),
        kept_rosters=kept_rosters,
        list_source=_list_source(settings, clock, trust),
        reader=RosterFileReader(zone, roster.encoding if roster else None),
        rule=_rule(settings, zone),
        snapshot_rule=_snapshot_rule(settings, zone),
        zone=zone,
        listeners=_listeners(settings),
        passwords=passwords,
        signing_key=_signing_key(settings),
        outlets=_outlets(settings, zone),
    )


def _facts(names: NamesNow, receiver: str, inputs: Mapping[int, str], positions: int, outputs: int) -> ReceiverFacts:
    """What people call things there, now and whenever it is looked at."""
    return ReceiverFacts(
        receiver, names.outputs(receiver), positions, inputs, output_limit=outputs, also=names.also(receiver)
    )


def _outlets(settings: Settings, zone: ZoneInfo) -> tuple[OutletBuilder, ...]:
    about = About(settings.gateway.site, tuple(settings.receivers), zone, package_version("gatepost"))
    built: list[OutletBuilder] = []
    faults: list[SettingsFault] = []
    for name, outlet in settings.outlets.items():
        try:
            built.append(plan_outlet(name, outlet, about))
        except SettingsFault as fault:
            faults.append(fault)
    if len(faults) == 1:
        raise faults[0]
    if faults:
        told = "\n".join(f"  {fault.message} {fault.remedy}" for fault in faults)
        raise SettingsFault(f"{len(faults)} outlets can't be set up:\n{told}", remedy="Nothing was started or changed.")
    return tuple(built)


def _signing_key(settings: Settings) -> SigningKey | None:
    """The settings' own key for receipts; None leaves it to the store."""
    place = settings.gateway.receipt_key_file
    return parse_private_key(read_secret(place), place) if place else None


def _manual_limits(receiver: ReceiverSettings) -> Limits:
    """What the settings state for a receiver that nobody can ask."""
    outputs = receiver.output_count or max(receiver.output_names)
    return Limits(outputs=outputs, inputs=0, slots=receiver.slots or 0, positions=receiver.positions)


def _map(receiver: str, named: str) -> ReceiverMap:
    """The receiver's map. Raises MapFault, which says whose it is."""
    try:
        return load_map(named)
    except MapFault as fault:
        raise MapFault(f"receivers.{receiver}.map: {fault.message}", remedy=fault.remedy) from fault


def _mapped(settings: Settings, receiver: str) -> bool:
    return not settings.receivers[receiver].by_hand and settings.receivers[receiver].driver == REGISTER_MAP


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
