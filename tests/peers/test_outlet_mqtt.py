"""MQTT against a real Mosquitto: what arrives, what stands, and what a broker's troubles do (reliability case 21)."""

from __future__ import annotations

import asyncio
import json
import os
import signal
import subprocess
from collections.abc import AsyncIterator, Mapping
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import aiomqtt
import pytest
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.reasoncodes import ReasonCode

from gateway.clock import SystemClock
from gateway.domain.addresses import AddressPolicy
from gateway.domain.events import EventDraft, EventName, Span
from gateway.outlets.choice import Choice
from gateway.outlets.house import OutletHouse
from gateway.outlets.mqtt import MqttOutlet, MqttPlan
from gateway.outlets.mqtt_client import ConnectionLost
from gateway.ports import Commit
from tests.fakes.broker import Broker, run_broker
from tests.fakes.doc_examples import fenced
from tests.fakes.memory_store import MemoryStore
from tests.fakes.outlets import MemoryOutbox
from tests.peers.conftest import RequireProgram

ROOT = "gatepost/fennel-quay"
CYCLES = int(os.environ.get("GATEPOST_KILLS", "15"))
TLS = Path(__file__).parents[1] / "vectors" / "rosters" / "tls"


class HurriedClock(SystemClock):
    """Ten times as fast, so that many restarts fit into one test."""

    async def sleep(self, seconds: float) -> None:
        await asyncio.sleep(seconds / 10)

    def timeout(self, seconds: float | None) -> AbstractAsyncContextManager[Any]:
        return super().timeout(None if seconds is None else seconds / 10)


@dataclass
class Yard:
    """A gateway's part that matters here: journal, house, and documents that the test sets."""

    store: MemoryStore
    house: OutletHouse
    broker: Broker
    standing: dict[str, dict[str, Any]]
    before: int

    async def connected(self) -> None:
        """Until the broker has been told that we are online."""
        async with asyncio.timeout(20):
            while self.broker.received().count(f"{ROOT}/state") <= self.before:
                await asyncio.sleep(0.01)

    async def happen(self, receiver: str = "slip-gate", name: EventName = EventName.INPUT_CHANGED, **data: Any) -> None:
        await self.store.journal.commit(Commit(events=(EventDraft(name, receiver, data),)))

    async def drained(self) -> None:
        """Until the broker has acknowledged everything."""
        async with asyncio.timeout(30):
            while self.house.state("broker").lag:
                await asyncio.sleep(0.01)

    async def state(self, *wanted: str) -> None:
        async with asyncio.timeout(20):
            while self.house.state("broker").state not in wanted:
                await asyncio.sleep(0.01)


@asynccontextmanager
async def gateway(broker: Broker, **changes: Any) -> AsyncIterator[Yard]:
    clock = HurriedClock()
    plan = MqttPlan(
        name="broker",
        host="127.0.0.1",
        port=broker.port,
        gateway_id="fennel-quay",
        receivers=("slip-gate",),
        version="0.1.0",
        tls=False,
        will_delay_s=0,
        spread_s=0.0,
        policy=AddressPolicy(allow_loopback=True),
    )
    store, standing = MemoryStore(clock), {"receivers/slip-gate/state": {"link": "online"}}

    def documents() -> Mapping[str, Mapping[str, Any]]:
        return {place: dict(document) for place, document in standing.items()}

    outlet = MqttOutlet(replace(plan, **changes), documents=documents, journal=store.journal, clock=clock)
    house = OutletHouse([outlet], journal=store.journal, outbox=MemoryOutbox(), clock=clock)
    await house.load()
    before = broker.received().count(f"{ROOT}/state")
    async with asyncio.TaskGroup() as group:
        task = group.create_task(house.run())
        yield Yard(store, house, broker, standing, before)
        task.cancel()


@asynccontextmanager
async def subscriber(broker: Broker, topic: str = "gatepost/#", **options: Any) -> AsyncIterator[aiomqtt.Client]:
    async with aiomqtt.Client(
        "127.0.0.1", broker.port, protocol=aiomqtt.ProtocolVersion.V5, identifier="harbour-desk", **options
    ) as client:
        await client.subscribe(topic, qos=1)
        yield client


async def take(client: aiomqtt.Client, count: int) -> list[aiomqtt.Message]:
    found: list[aiomqtt.Message] = []
    async with asyncio.timeout(10):
        async for message in client.messages:
            found.append(message)
            if len(found) == count:
                return found
    raise AssertionError


def document(message: aiomqtt.Message) -> Any:
    assert isinstance(message.payload, bytes)
    return json.loads(message.payload)


@pytest.fixture
def mosquitto(require_program: RequireProgram) -> str:
    return require_program("mosquitto", "mosquitto")


async def test_events_and_states_arrive(mosquitto: str, tmp_path: Path) -> None:
    """Event topics are not retained, state topics are; late ones go out as history; CloudEvents are the content."""
    async with run_broker(mosquitto, tmp_path) as broker, subscriber(broker) as desk, gateway(broker) as yard:
        await yard.connected()
        states = {str(message.topic): document(message) for message in await take(desk, 2)}
        assert states == {
            f"{ROOT}/receivers/slip-gate/state": {"link": "online"},
            f"{ROOT}/state": {"state": "online", "version": "0.1.0"},
        }
        await yard.happen(input=1, violated=True)
        (event,) = await take(desk, 1)
        assert str(event.topic) == f"{ROOT}/receivers/slip-gate/events/input.changed"
        assert (event.qos, event.retain) == (1, False)
        assert document(event)["id"] == "m1-1"
        assert document(event)["data"] == {"input": 1, "violated": True}
        properties: Any = event.properties
        assert properties.ContentType == "application/cloudevents+json; charset=utf-8"
        now = HurriedClock().now()
        late = EventDraft(EventName.INPUT_CHANGED, "slip-gate", {"input": 1}, Span(now, now))
        await yard.store.journal.commit(Commit(events=(late, EventDraft(EventName.CLOCK_TRUSTED))))
        topics = [str(message.topic) for message in await take(desk, 2)]
        assert topics == [f"{ROOT}/receivers/slip-gate/history/input.changed", f"{ROOT}/events/clock.trusted"]


async def test_a_state_is_published_when_it_changes_and_stands_for_who_comes_later(
    mosquitto: str, tmp_path: Path
) -> None:
    """An event makes us look; only what differs is sent."""
    async with run_broker(mosquitto, tmp_path) as broker, gateway(broker) as yard:
        await yard.connected()
        yard.standing["gates/slip/state"] = {"position": "shut"}
        await yard.happen()
        await yard.drained()
        await asyncio.sleep(0.3)
        async with subscriber(broker, f"{ROOT}/gates/#") as desk:
            (message,) = await take(desk, 1)
        assert (message.retain, document(message)) == (True, {"position": "shut"})
        assert broker.received().count(f"{ROOT}/receivers/slip-gate/state") == 1


async def test_offline_is_said_in_order_and_by_the_last_will(mosquitto: str, tmp_path: Path) -> None:
    """A stop says it itself; a cut connection has it said by the broker."""
    async with run_broker(mosquitto, tmp_path) as broker, subscriber(broker, f"{ROOT}/state") as desk:
        async with gateway(broker) as yard:
            await yard.connected()
        states = [document(message)["state"] for message in await take(desk, 2)]
        assert states == ["online", "offline"]
        async with gateway(broker) as yard:
            await yard.connected()
            await take(desk, 1)
            async with aiomqtt.Client(  # the same client id: the broker closes the first connection without a goodbye
                "127.0.0.1", broker.port, protocol=aiomqtt.ProtocolVersion.V5, identifier="gatepost-fennel-quay"
            ):
                (will,) = await take(desk, 1)
                assert document(will)["state"] == "offline"


@pytest.mark.timeout(120 + 12 * CYCLES)
async def test_nothing_is_lost_over_many_kills(mosquitto: str, tmp_path: Path) -> None:
    """Case 21: the broker is killed again and again while events come; its own log shows every one of them.

    GATEPOST_KILLS=50 is the long form.
    """
    choice = Choice(frozenset({"input.changed"}))
    async with run_broker(mosquitto, tmp_path) as broker, gateway(broker, choice=choice) as yard:
        for cycle in range(CYCLES):
            for number in range(3):
                await yard.happen(f"r{cycle * 3 + number}")
            await asyncio.sleep(0.02 * (cycle % 3))
            await broker.kill(signal.SIGKILL if cycle % 5 else signal.SIGTERM)
            await yard.happen(f"down{cycle}")
            await broker.start()
        await yard.drained()
        await asyncio.sleep(0.2)
        topics = [topic.split("/")[3] for topic in broker.received() if topic.endswith("/events/input.changed")]
    wanted = [name for cycle in range(CYCLES) for name in (*(f"r{cycle * 3 + n}" for n in range(3)), f"down{cycle}")]
    assert list(dict.fromkeys(topics)) == wanted


async def test_what_stands_is_refreshed_after_a_restart_that_lost_it(mosquitto: str, tmp_path: Path) -> None:
    """A broker whose memory is gone has every retained state again."""
    async with run_broker(mosquitto, tmp_path) as broker, gateway(broker) as yard:
        await yard.connected()
        await broker.kill()
        broker.forget()
        await broker.start()
        async with subscriber(broker) as desk:
            topics = {str(message.topic) for message in await take(desk, 2)}
    assert topics == {f"{ROOT}/state", f"{ROOT}/receivers/slip-gate/state"}


async def test_an_absent_broker_is_told_once_and_its_return_too(mosquitto: str, tmp_path: Path) -> None:
    """Though no event was on its way."""
    async with run_broker(mosquitto, tmp_path) as broker, gateway(broker) as yard:
        await yard.connected()
        await broker.kill()
        await yard.state("failing")
        assert "127.0.0.1" in yard.house.state("broker").problem
        await asyncio.sleep(0.5)
        await broker.start()
        await yard.state("idle")
        told = yard.store.journal.all(EventName.OUTLET_FAILING, EventName.OUTLET_RECOVERED)
    assert [event.name for event in told] == [EventName.OUTLET_FAILING, EventName.OUTLET_RECOVERED]


async def test_two_gateways_with_one_client_id_are_told_so(mosquitto: str, tmp_path: Path) -> None:
    """MQTT 5, 3.1.4: the broker closes the older connection each time. Mosquitto does not say why: it is guessed."""
    async with run_broker(mosquitto, tmp_path) as broker, gateway(broker) as first:
        await first.connected()
        async with gateway(broker) as second:
            await second.connected()
            await first.state("retrying", "failing")
            state = first.house.state("broker")
    assert state.problem == "The connection to 127.0.0.1 was closed."
    assert "another gateway has the same client_id" in state.remedy


@pytest.mark.parametrize(
    ("code", "problem"),
    [
        (142, "Another client came to broker.example with this client id."),
        (152, "The connection to broker.example was closed: administrative action."),
        (128, "The connection to broker.example was closed."),
    ],
)
def test_what_a_broker_says_when_it_closes(code: int, problem: str) -> None:
    """Reason codes of MQTT 5, 3.14.2.1; 128 is no reason."""
    lost = ConnectionLost(ReasonCode(PacketTypes.DISCONNECT, identifier=code))
    plan = MqttPlan("broker", "broker.example", 1883, "fennel-quay", (), tls=False)
    outlet = MqttOutlet(plan, documents=dict, journal=MemoryStore().journal, clock=SystemClock())
    assert outlet._explain(lost).problem == problem


async def test_a_password_that_is_changed_and_changed_back(
    mosquitto: str, tmp_path: Path, require_program: RequireProgram
) -> None:
    """Refused and told meanwhile; what happened then comes afterwards, in order, by itself (reliability case 21)."""
    passwords, program = tmp_path / "passwords", require_program("mosquitto_passwd", "mosquitto")

    def let_in(password: str) -> None:
        subprocess.run([program, "-b", "-c", str(passwords), "fennel-quay", password], check=True, capture_output=True)
        passwords.chmod(0o644)

    let_in("example")
    extra = f"allow_anonymous false\npassword_file {passwords}\n"
    async with (
        run_broker(mosquitto, tmp_path, extra) as broker,
        gateway(broker, username="fennel-quay", password="example") as yard,
    ):
        await yard.connected()
        let_in("another")
        await broker.kill()
        await broker.start()
        await yard.happen("slip-gate")
        await yard.happen("car-park")
        async with asyncio.timeout(20):
            while "refuses this gateway" not in yard.house.state("broker").problem:
                await asyncio.sleep(0.01)
        let_in("example")
        await broker.kill()
        await broker.start()
        await yard.drained()
    events = [topic for topic in broker.received() if topic.endswith("events/input.changed")]
    assert list(dict.fromkeys(events)) == [
        f"{ROOT}/receivers/{name}/events/input.changed" for name in ("slip-gate", "car-park")
    ]


async def test_a_wrong_password_is_said_and_not_hammered(mosquitto: str, tmp_path: Path) -> None:
    """The broker sees one try, and the person what to look at; the password itself is shown nowhere."""
    passwords = tmp_path / "passwords"
    passwords.write_text("nobody:$7$101$AAAA$AAAA\n")
    extra = f"allow_anonymous false\npassword_file {passwords}\n"
    async with (
        run_broker(mosquitto, tmp_path, extra) as broker,
        gateway(broker, username="fennel-quay", password="canary-word") as yard,
    ):
        await yard.state("retrying")
        await asyncio.sleep(1)
        state = yard.house.state("broker")
        assert state.problem == "The broker 127.0.0.1 refuses this gateway: not authorized."
        assert "password's file" in state.remedy
        assert "canary" not in str(state)
        assert (
            broker.log.read_text().count("New client connected") + broker.log.read_text().count("not authorised") <= 2
        )


async def test_an_event_that_the_access_rules_forbid_is_not_counted_as_delivered(
    mosquitto: str, tmp_path: Path
) -> None:
    """MQTT 5 says so in the PUBACK's reason code, which must not be taken for a yes."""
    rules = tmp_path / "rules"
    rules.write_text(f"topic readwrite {ROOT}/state\ntopic readwrite {ROOT}/receivers/slip-gate/state\n")
    async with run_broker(mosquitto, tmp_path, f"acl_file {rules}\n") as broker, gateway(broker) as yard:
        await yard.connected()
        await yard.happen()
        await yard.state("retrying", "failing")
        assert "refuses gatepost/fennel-quay/receivers/slip-gate/events/input.changed" in (
            yard.house.state("broker").problem
        )
        assert yard.house.state("broker").row.done == 0


async def test_a_broker_that_is_full_for_one_event_does_not_stop_the_others(mosquitto: str, tmp_path: Path) -> None:
    """A message over the broker's limit closes the connection each time; it is set aside, and order goes on."""

    async with run_broker(mosquitto, tmp_path, "message_size_limit 2000\n") as broker, gateway(broker) as yard:
        await yard.connected()
        await yard.happen("big", text="x" * 3000)
        await yard.happen("small")
        await yard.drained()
        (aside,) = await yard.house.set_asides("broker")
        assert aside.number == 1
        assert "big" in aside.problem
        assert f"{ROOT}/receivers/small/events/input.changed" in broker.received()


# paho leaves closing the socket of a failed handshake to the garbage collector
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning", "ignore::ResourceWarning")
async def test_tls_is_used_and_verified(mosquitto: str, tmp_path: Path) -> None:
    """With its authority named the broker is believed; without, nothing is sent and the person told why."""
    extra = f"certfile {TLS / 'localhost.pem'}\nkeyfile {TLS / 'localhost.pem'}\n"
    async with run_broker(mosquitto, tmp_path, extra) as broker:
        async with gateway(broker, host="localhost", tls=True, ca_file=TLS / "authority.pem") as yard:
            await yard.connected()
        async with gateway(broker, host="localhost", tls=True) as yard:
            await yard.state("retrying")
            assert "certificate of localhost is not accepted" in yard.house.state("broker").problem


async def test_the_listener_of_the_page(mosquitto: str, tmp_path: Path) -> None:
    """docs/outlets/mqtt.md's example hears states and events."""
    (example,) = fenced("outlets/mqtt.md", "python")
    names: dict[str, Any] = {}
    exec(example, names)
    heard: dict[str, Any] = {}
    async with run_broker(mosquitto, tmp_path) as broker, asyncio.TaskGroup() as group:
        listening = group.create_task(names["listen"]("127.0.0.1", broker.port, heard.__setitem__))
        async with gateway(broker) as yard:
            await yard.connected()
            async with asyncio.timeout(20):
                while len(heard) < 3:  # events are not retained: one before the listener has subscribed is not for it
                    await yard.happen(input=1)
                    await asyncio.sleep(0.1)
        listening.cancel()
    assert heard[f"{ROOT}/receivers/slip-gate/state"] == {"link": "online"}
    assert heard[f"{ROOT}/receivers/slip-gate/events/input.changed"]["data"] == {"input": 1}
    assert heard[f"{ROOT}/state"]["state"] in ("online", "offline")
