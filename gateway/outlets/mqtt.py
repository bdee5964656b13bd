"""Events and states to an MQTT 5 broker.

An event counts as delivered when the broker's PUBACK says so; until then it stays in the outbox, so nothing depends
on a session. "The broker has it" is not "it is safe": brokers write to disk when it suits them. States are
retained and refreshed at each connection; the last will says `offline`, a little late, so that a short cut is none.
"""

from __future__ import annotations

import asyncio
import re
import ssl
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import aiomqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from gateway.clock import Clock
from gateway.domain.addresses import AddressPolicy
from gateway.domain.cloudevents import cloud_event
from gateway.domain.events import Event
from gateway.errors import SettingsFault
from gateway.outlets.choice import Choice
from gateway.outlets.documents import write_document
from gateway.outlets.mqtt_client import (
    CONTENT_TYPE,
    NOT_THIS_MESSAGE,
    BrokerRefused,
    Connection,
    ConnectionCut,
    ConnectionLost,
)
from gateway.outlets.mqtt_topics import Topics, check_prefix
from gateway.outlets.reach import AddressRefused, resolve
from gateway.outlets.samples import sample_drafts, samples_for
from gateway.outlets.schedules import BROKER
from gateway.outlets.tls import certificate_problem, client_context
from gateway.ports import Delivered, Delivery, EventRejected, Journal, Outlet, Parcel, Report, RetryLater, Sample

__all__ = ["MqttOutlet", "MqttPlan", "broker_tls"]

_CONNECT_WAIT_S = 10.0  # a delivery waits for the connection this long before it counts as failed
_SETTLED_S = 0.2  # states are looked at this long after an event, so that a burst of them is one message
_LOOK_EVERY_S = 30.0
_GOODBYE_S = 2.0
_KEEPALIVE_S = 20
_REFUSED_S = 60.0  # a broker that refuses us is not hammered
_BREAKS_AT = 3  # our choice: a connection that ends so often over one event ends because of it
_NOT_US = frozenset((133, 134, 135, 138))  # client id, user or password, not authorized, banned (MQTT 5, 3.2.2.2)
_TAKEN_OVER = 142  # MQTT 5, 3.14.2.1: session taken over
_JSON = "application/json"
Documents = Callable[[], Mapping[str, Mapping[str, Any]]]


@dataclass(frozen=True, slots=True)
class MqttPlan:
    """What the settings ask for. `spread_s`: each connecting anew is later by a random part of it."""

    name: str
    host: str
    port: int
    gateway_id: str
    receivers: tuple[str, ...]
    version: str = ""
    prefix: str = "gatepost"
    client_id: str = ""
    username: str | None = None
    password: str | None = None
    tls: bool = True
    ca_file: Path | None = None
    certificate_file: Path | None = None
    key_file: Path | None = None
    will_delay_s: int = 10
    spread_s: float = 40.0
    choice: Choice = field(default_factory=Choice)
    personal: bool = False
    policy: AddressPolicy = field(default_factory=AddressPolicy)


class MqttOutlet(Outlet):
    """`ports.Outlet`. `documents` gives what stands now, by place below the root. Raises SettingsFault."""

    kind = "mqtt"
    batch = 1

    def __init__(self, plan: MqttPlan, *, documents: Documents, journal: Journal, clock: Clock) -> None:
        self._plan = plan
        self._documents = documents
        self._journal = journal
        self._clock = clock
        self._topics = Topics(check_prefix(plan.prefix), plan.gateway_id)
        self._tls = broker_tls(plan)
        self._schedule = replace(BROKER, spread_s=plan.spread_s)
        self._link: Connection | None = None
        self._up = asyncio.Event()
        self._broke_over: tuple[str, int] = ("", 0)  # an event, and how often in a row the connection ended over it
        self._trouble = RetryLater(f"There is no connection to {plan.host} yet.", "Wait, or look at the broker.")

    @property
    def name(self) -> str:
        return self._plan.name

    @property
    def place(self) -> str:
        scheme = "mqtts" if self._tls else "mqtt"
        return f"{scheme}://{self._plan.host}:{self._plan.port}/{self._topics.root}"

    def wants(self, event: Event) -> bool:
        return self._plan.choice.takes(event, self.name)

    def delay_s(self, failures: int) -> float:
        return self._schedule.delay_s(failures)

    def samples(self) -> tuple[Sample, ...]:
        receiver = self._plan.receivers[0] if self._plan.receivers else ""
        return samples_for(sample_drafts(receiver, self._plan.choice.conditions), self.wants)

    async def deliver(self, parcels: Sequence[Parcel]) -> Delivery:
        """Publish one event and wait for the broker's answer."""
        parcel = parcels[0]
        try:
            async with self._clock.timeout(_CONNECT_WAIT_S):
                await self._up.wait()
        except TimeoutError:
            return self._trouble
        link = self._link
        document = cloud_event(parcel.event, gateway_id=self._plan.gateway_id, personal=self._plan.personal)
        topic = self._topics.event(parcel.event, test=parcel.test)
        try:
            assert link is not None
            await link.send(topic, write_document(document), retain=False, content_type=CONTENT_TYPE)
        except BrokerRefused as error:
            if error.code in NOT_THIS_MESSAGE:
                return EventRejected(_sentence(error), "Look at the broker's limits.")
            return RetryLater(_sentence(error), "Look at the broker's access rules and quotas.", _REFUSED_S)
        except aiomqtt.MqttError as error:
            return self._broke(str(parcel.event.id), topic, error)
        self._broke_over = ("", 0)
        return Delivered(f"PUBACK for {topic}")

    def _broke(self, event_id: str, topic: str, error: aiomqtt.MqttError) -> Delivery:
        """Some brokers close the connection over one message and don't say why, each time anew."""
        before = self._broke_over[1] if self._broke_over[0] == event_id else 0
        self._broke_over = (event_id, before + 1)
        if before + 1 < _BREAKS_AT:
            return RetryLater(_sentence(error), "Look at the broker; it is tried again.")
        problem = f"The broker closes the connection each time that {topic} is sent."
        return EventRejected(problem, "Look at the broker's log and its limits.")

    async def run(self, report: Report) -> None:
        """Keep the connection: connect, tell what stands, notice when it goes, wait, again."""
        failures = 0
        while True:
            try:
                await resolve(self._plan.policy, self._plan.host, self._plan.port)
                async with self._connection() as link:
                    await self._serve(link, report)
            except* (aiomqtt.MqttError, OSError) as group:
                self._trouble = self._explain(_first(group))
            finally:
                failures = 1 if self._up.is_set() else failures + 1
                self._link = None
                self._up.clear()
            await report(self._trouble)
            await self._clock.sleep(max(self._schedule.delay_s(failures), self._trouble.after_s or 0.0))

    async def _serve(self, link: Connection, report: Report) -> None:
        try:
            shown = await self._show(link, {})
            await self._state(link, "online")
            self._link = link
            self._up.set()
            await report(Delivered())
            async with asyncio.TaskGroup() as group:
                group.create_task(link.wait_lost())
                group.create_task(self._keep_shown(link, shown))
        except asyncio.CancelledError:
            await self._say_goodbye(link)
            raise

    async def _say_goodbye(self, link: Connection) -> None:
        """An orderly end sends no last will, so it is said here."""
        try:
            async with self._clock.timeout(_GOODBYE_S):
                await self._state(link, "offline")
        except (aiomqtt.MqttError, TimeoutError):
            return

    async def _state(self, link: Connection, state: str) -> None:
        document = {"state": state, "version": self._plan.version}
        await link.send(self._topics.state, write_document(document), retain=True, content_type=_JSON)

    async def _keep_shown(self, link: Connection, shown: Mapping[str, Mapping[str, Any]]) -> None:
        while True:
            number = self._journal.newest.number
            shown = await self._show(link, shown)
            try:
                async with self._clock.timeout(_LOOK_EVERY_S):
                    await self._journal.wait_newer(number)
            except TimeoutError:
                continue
            await self._clock.sleep(_SETTLED_S)

    async def _show(self, link: Connection, shown: Mapping[str, Mapping[str, Any]]) -> dict[str, Mapping[str, Any]]:
        """Publish what differs from `shown`; what stands now."""
        now = dict(self._documents())
        for place, document in now.items():
            if shown.get(place) != document:
                topic = self._topics.below(place)
                await link.send(topic, write_document(document), retain=True, content_type=_JSON)
        return now

    def _connection(self) -> Connection:
        plan = self._plan
        properties = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        properties.SessionExpiryInterval = max(300, plan.will_delay_s)  # else the will is sent at once (3.1.3.2.2)
        will_properties = Properties(PacketTypes.WILLMESSAGE)  # type: ignore[no-untyped-call]
        will_properties.WillDelayInterval = plan.will_delay_s
        will_properties.ContentType = _JSON
        offline = write_document({"state": "offline", "version": plan.version})
        return Connection(
            plan.host,
            plan.port,
            identifier=plan.client_id or f"gatepost-{plan.gateway_id}",
            username=plan.username,
            password=plan.password,
            keepalive=_KEEPALIVE_S,
            clean_start=False,
            properties=properties,
            will=aiomqtt.Will(self._topics.state, offline, qos=1, retain=True, properties=will_properties),
            tls_context=self._tls,
        )

    def _explain(self, error: BaseException) -> RetryLater:
        host = self._plan.host
        if isinstance(error, AddressRefused):
            return RetryLater(f"The broker's address can't be used: {error}.", error.remedy, _REFUSED_S)
        secure = error if isinstance(error, ssl.SSLError) else error.__context__  # aiomqtt keeps it there alone
        if isinstance(secure, ssl.SSLError):
            return RetryLater(*certificate_problem(secure, host), _REFUSED_S)
        if isinstance(error, aiomqtt.MqttCodeError) and getattr(error.rc, "value", error.rc) in _NOT_US:
            remedy = "Look at client_id, username and the password's file, and at the broker's access rules."
            return RetryLater(f"The broker {host} refuses this gateway: {_words(error)}.", remedy, _REFUSED_S)
        if isinstance(error, BrokerRefused):
            return RetryLater(_sentence(error), "Look at the broker's access rules and quotas.", _REFUSED_S)
        if isinstance(error, ConnectionCut | ConnectionLost):
            return _closed(host, error)
        remedy = "Look at the broker, the network, and whether port and tls fit together."
        return RetryLater(f"No connection to {host}: {_words(error)}.", remedy)


def _closed(host: str, error: ConnectionCut | ConnectionLost) -> RetryLater:
    """A connection that was up. Some brokers say why they close it, others don't."""
    if isinstance(error, ConnectionCut):
        return RetryLater(_sentence(error), "Look at the broker's log and its limits; it is tried again.")
    if error.code == _TAKEN_OVER:
        remedy = "Give each gateway a client_id of its own: a broker closes the older of two connections with one."
        return RetryLater(f"Another client came to {host} with this client id.", remedy)
    remedy = "Look at the broker's log, and whether another gateway has the same client_id; it is tried again."
    return RetryLater(f"The connection to {host} was closed{error.why}.", remedy)


def _words(error: BaseException) -> str:
    """Without the numbers that libraries and the system put in front."""
    text = re.sub(r"^\[[^\]]*\] *", "", str(error)).strip().rstrip(".")
    return text[:1].lower() + text[1:] if text else type(error).__name__


def _sentence(error: BaseException) -> str:
    text = str(error) or type(error).__name__
    return text[0].upper() + text[1:].rstrip(".") + "."


def _first(group: BaseExceptionGroup[BaseException]) -> BaseException:
    found: BaseException = group
    while isinstance(found, BaseExceptionGroup):
        found = found.exceptions[0]
    return found


def broker_tls(plan: MqttPlan) -> ssl.SSLContext | None:
    if not plan.tls:
        return None
    context = client_context(plan.ca_file)
    if plan.certificate_file is not None:
        try:
            context.load_cert_chain(plan.certificate_file, plan.key_file)
        except (OSError, ssl.SSLError) as fault:
            raise SettingsFault(
                f"The certificate {plan.certificate_file} or its key can't be used: {fault}.",
                remedy="Name a PEM certificate and its key, both readable by the gateway.",
            ) from fault
    return context
