"""The daemon as a process, a gate that moves, and all four outlets into receivers that know nothing of us.

What is shown elsewhere for each outlet alone is shown here as the integrator has it: one settings file, real
processes, SIGKILL, and endpoints that are away. The peers are aiohttp with the Standard Webhooks library, Mosquitto,
pysiaalarm and aiosmtpd.
"""

from __future__ import annotations

import asyncio
import base64
import json
from collections.abc import AsyncIterator, Callable
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from pysiaalarm.account import SIAAccount
from standardwebhooks.webhooks import Webhook

from tests.fakes.broker import Broker, run_broker
from tests.fakes.mail_server import Server, serving
from tests.fakes.sia_station import Station, station
from tests.fakes.webhook_endpoint import Endpoint, serve_endpoint, status
from tests.integration.yard import DEADLINE_S, Yard, open_yard
from tests.peers.conftest import RequireProgram

SECRET = "whsec_" + base64.b64encode(b"an invented secret of the quay..").decode()
RECEIVER = """
[receivers.slip-gate.inputs]
1 = { name = "gate closed", role = "closed", gate = "slip-gate" }
2 = { name = "housing", role = "tamper" }
3 = { name = "light barrier", role = "safety", gate = "slip-gate" }
"""
GATE = """
[gates.slip-gate]
title = "Slip gate"
kind = "gate"
receiver = "slip-gate"
outputs = ["gate"]
travel_s = 1
"""


@dataclass
class Peers:
    """Where the outlets of one yard lead."""

    endpoint: Endpoint
    broker: Broker
    station: Station
    mail: Server

    def settings(self, folder: Path) -> str:
        """The outlets as an integrator writes them; a secret lies in a file of its own."""
        secret = folder / "desk.secret"
        secret.write_text(SECRET)
        secret.chmod(0o600)
        return (
            GATE
            + f"""
[outlets.desk]
kind = "webhook"
url = "{self.endpoint.url}"
secret_files = ["{secret}"]
events = ["condition.*"]
allow_plain_http = true
allow_loopback = true

[outlets.broker]
kind = "mqtt"
host = "127.0.0.1"
port = {self.broker.port}
tls = false
spread_s = 0
will_delay_s = 0
events = ["condition.*"]
allow_loopback = true

[outlets.station]
kind = "alarm"
addresses = ["tcp://127.0.0.1:{self.station.port}"]
account = "1234"
format = "SIA-DCS"
supervision_s = 0
allow_loopback = true
[outlets.station.points]
"slip-gate/2" = 12
[outlets.station.codes]
"gateway.started" = "off"
"clock.trusted" = "off"

[outlets.office]
kind = "mail"
host = "localhost"
port = {self.mail.port}
security = "none"
sender = "gate@fennel-quay.example"
recipients = ["harbour-office@fennel-quay.example"]
events = ["condition.*"]
urgent = ["condition.*"]
most_an_hour = 60
allow_loopback = true
"""
        )


@asynccontextmanager
async def peers(mosquitto: str, folder: Path) -> AsyncIterator[Peers]:
    async with AsyncExitStack() as stack:
        yield Peers(
            await stack.enter_async_context(serve_endpoint(status(204))),
            await stack.enter_async_context(run_broker(mosquitto, folder)),
            await stack.enter_async_context(station(SIAAccount("1234"))),
            await stack.enter_async_context(serving()),
        )


@pytest.fixture
def mosquitto(require_program: RequireProgram) -> str:
    return require_program("mosquitto", "mosquitto")


async def until(found: Callable[[], Any], what: str) -> None:
    """Waits in this loop, in which the peers live too."""
    try:
        async with asyncio.timeout(DEADLINE_S):
            while not found():
                await asyncio.sleep(0.05)
    except TimeoutError as fault:
        raise AssertionError(f"never: {what}") from fault


def conditions(endpoint: Endpoint) -> list[tuple[str, str]]:
    """What the webhook told, in order, each event once; every signature is verified on the way."""
    told: dict[str, tuple[str, str]] = {}
    for got in endpoint.got:
        headers = {name.lower(): value for name, value in got.headers.items()}
        Webhook(SECRET).verify(got.body, headers)
        event = json.loads(got.body)
        assert event["id"] == headers["webhook-id"]
        told[event["id"]] = (event["type"].rsplit(".", 1)[1], event["data"]["condition"])
    return list(told.values())


def codes(found: Station) -> list[str]:
    """SIA letters in order, a repeated frame once."""
    return list(dict.fromkeys(f"{event.sequence} {event.code}" for event in found.events))


async def started(yard: Yard) -> None:
    def start() -> None:
        yard.start().wait_mirrored("slip-gate")

    await asyncio.to_thread(start)


async def board(yard: Yard, line: str) -> None:
    await asyncio.to_thread(yard.lines["quayside"].tell, line)


async def test_a_housing_that_is_opened_is_told_to_everybody(mosquitto: str, tmp_path: Path) -> None:
    """Raised and cleared: a signed webhook, an MQTT event, `TA` and `TR` at the station, and a mail in words."""
    with open_yard() as yard:
        async with peers(mosquitto, tmp_path) as found:
            await asyncio.to_thread(yard.line, "quayside")
            yard.write_settings(receiver=RECEIVER, more=found.settings(yard.folder), inputs="")
            yard.write_roster()
            await started(yard)
            await board(yard, "input 2 violated")
            await until(lambda: len(codes(found.station)) == 1, "tamper at the station")
            await board(yard, "input 2 normal")
            await until(lambda: len(codes(found.station)) == 2, "its restore")
            await until(lambda: len(found.endpoint.got) >= 2, "two webhooks")
            await until(lambda: len(found.mail.mails) >= 1, "a mail")
            topics = "gatepost/fennel-quay/receivers/slip-gate/events/condition."
            await until(lambda: {topics + "raised", topics + "cleared"} <= set(found.broker.received()), "both at MQTT")
    assert [code.split()[1] for code in codes(found.station)] == ["TA", "TR"]
    assert found.station.events[0].message == "012"
    assert conditions(found.endpoint) == [("raised", "tamper"), ("cleared", "tamper")]
    assert "tamper" in str(found.mail.mails[0]["Subject"])
    assert "housing" in found.mail.mails[0].get_content()


async def test_nothing_is_lost_when_everything_fails_at_once(mosquitto: str, tmp_path: Path) -> None:
    """The desk answers 503, the broker is dead, the daemon is killed; afterwards all have all of it, in order."""
    with open_yard() as yard:
        async with peers(mosquitto, tmp_path) as found:
            await asyncio.to_thread(yard.line, "quayside")
            yard.write_settings(receiver=RECEIVER, more=found.settings(yard.folder), inputs="")
            yard.write_roster()
            await started(yard)
            found.endpoint.rule = status(503, Retry_After="1")
            await found.broker.kill()
            await board(yard, "input 2 violated")
            await until(lambda: len(codes(found.station)) == 1, "the station has it though two others are away")
            await until(lambda: found.endpoint.got, "a first try at the desk")
            await asyncio.to_thread(yard.daemon.kill)
            await found.broker.start()
            found.endpoint.rule = status(204)
            found.endpoint.got.clear()
            await started(yard)
            await board(yard, "input 2 normal")
            await until(lambda: len(conditions(found.endpoint)) == 2, "both at the desk")
            topics = "gatepost/fennel-quay/receivers/slip-gate/events/condition."
            await until(lambda: {topics + "raised", topics + "cleared"} <= set(found.broker.received()), "both at MQTT")
            await until(lambda: len(codes(found.station)) >= 2, "both at the station")
    assert conditions(found.endpoint) == [("raised", "tamper"), ("cleared", "tamper")]
    heard = [topic for topic in found.broker.received() if topic.startswith(topics)]
    assert list(dict.fromkeys(heard)) == [topics + "raised", topics + "cleared"]
    assert [code.split()[1] for code in codes(found.station)] == ["TA", "TR"]
