"""Operating an output on a whole site: daemon, virtual receiver, commands and tokens as people have them.

The relay is looked at in the receiver itself, and once by Debian's mbpoll (libmodbus) at the address that
docs/register-map.md names for the outputs.
"""

from __future__ import annotations

import os
import pty
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest

from gateway.domain.cautions import CAUTIONS
from tests.fakes.register_page import Page
from tests.integration.yard import Daemon, Yard, open_yard, until

_OPERATIONS = "/receivers/slip-gate/outputs/1/operations"
_RECEIVER = """operate = ["gate"]
"""
_MORE = """
[receivers.slip-gate.inputs]
1 = { name = "gate closed", role = "closed", gate = "slip-gate" }
2 = { name = "light barrier", role = "safety", gate = "slip-gate" }

[gates.slip-gate]
receiver = "slip-gate"
outputs = ["gate"]
"""


def _settings(yard: Yard, warning: str = "") -> None:
    yard.write_settings(baud=115200, roster="", more=_MORE + warning)
    text = yard.config.read_text().replace('inputs = { 1 = "gate closed" }\n', _RECEIVER)
    yard.config.write_text(text)


@pytest.fixture
def yard() -> Iterator[Yard]:
    """A gate that may be operated, with a light barrier."""
    with open_yard() as found:
        _settings(found)
        found.line("quayside", "--paced", "--baud", "115200")
        yield found


def _operate(daemon: Daemon, key: str = "", **body: Any) -> httpx.Response:
    headers = {"Idempotency-Key": key} if key else {}
    return daemon.client.post(_OPERATIONS, json={"reason": "a delivery", **body}, headers=headers)


def _code(answer: httpx.Response) -> str:
    return str(answer.json()["type"]).rpartition(":")[2]


def _closures(daemon: Daemon) -> list[dict[str, Any]]:
    """What the receiver's own ring has told: output 1 closing on a request of the line."""
    told = [event["data"] for event in daemon.events() if event["type"].endswith("output.changed")]
    return [data for data in told if data["output"] == 1 and data["closed"] and data["origin"] == "line"]


def test_one_closure_and_what_refuses_it(yard: Yard) -> None:
    """The relay closes once and ends by itself; a key, a pause, a light barrier and a lost line refuse."""
    line, daemon = yard.lines["quayside"], yard.start()
    daemon.wait_link("slip-gate", "online")
    daemon.wait_mirrored("slip-gate")
    assert all(caution in daemon.log.read_text() for caution in CAUTIONS), "the first start shows them"
    listed = daemon.get("/receivers/slip-gate/outputs")
    assert [(each["name"], each["allowed"]) for each in listed["outputs"]] == [("gate", True), ("boat-hoist", False)]
    assert listed["cautions"] == list(CAUTIONS)

    line.tell("input 2 violated")
    assert _code(_operate(daemon)) == "safety-input-violated"
    line.tell("input 2 normal")

    made = _operate(daemon, "delivery-1")
    assert made.status_code == 201, made.text
    assert made.json()["state"] == "done"
    assert made.json()["cautions"] == list(CAUTIONS)
    assert daemon.client.get(made.headers["Location"].removeprefix("/api/v1")).json()["id"] == made.json()["id"]
    assert _code(_operate(daemon, "delivery-1")) == "operation-repeated"
    assert _code(_operate(daemon)) == "operated-just-now"
    until(lambda: len(_closures(daemon)) == 1, "the relay closing once")
    (operated,) = [event for event in daemon.events() if event["type"].endswith("output.operated")]
    assert operated["data"]["outcome"] == "done"
    assert operated["data"]["seconds"] == 5.0

    assert daemon.log.read_text().count(CAUTIONS[0]) == 1
    daemon.kill()  # nothing is remembered wrongly and nothing is operated anew
    daemon.start()
    daemon.wait_link("slip-gate", "online")
    assert _code(_operate(daemon, "delivery-1")) == "operation-repeated"
    until(lambda: not daemon.get("/receivers/slip-gate/status")["outputs"][0]["closed"], "its end by itself")
    assert len(_closures(daemon)) == 1

    line.tell("fault adapter gone")
    daemon.wait_link("slip-gate", "port-lost")
    assert _code(_operate(daemon)) == "receiver-not-reached"
    audited = daemon.get("/audit")["rows"]
    outcomes = {row["outcome"] for row in audited if row["what"] == "output.operated"}
    assert {"asked", "done", "operation-repeated", "safety-input-violated", "receiver-not-reached"} <= outcomes


def test_scope_reason_and_form(yard: Yard) -> None:
    """A token without the scope, no reason, more than one closure, another output: each with its code."""
    daemon = yard.start()
    daemon.wait_link("slip-gate", "online")
    secret = daemon.post("/tokens", {"name": "desk", "scopes": ["roster"]}).json()["secret"]
    with httpx.Client(base_url=daemon.address + "/api/v1", headers={"Authorization": f"Bearer {secret}"}) as desk:
        assert _code(desk.post(_OPERATIONS, json={"reason": "a delivery"})) == "scope-insufficient"
    assert _code(daemon.post(_OPERATIONS, {"reason": " "})) == "no-reason"
    assert _code(daemon.post(_OPERATIONS, {})) == "no-reason"
    for more in ({"hold": True}, {"repeat": 3}, {"sequence": [1, 2]}, {"until": "08:00"}):
        assert _code(_operate(daemon, **more)) == "one-closure-only"
    assert _code(_operate(daemon, colour="red")) == "body-invalid"
    assert _code(_operate(daemon, seconds=6)) == "closure-too-long"
    other = _OPERATIONS.replace("/1/", "/2/")
    assert _code(daemon.post(other, {"reason": "a delivery"})) == "output-not-allowed"
    assert not [event for event in daemon.events() if event["type"].endswith("output.operated")]


def _at_a_terminal(yard: Yard, *arguments: str, typed: str) -> tuple[int, str]:
    """A command with a terminal as its input, where this is typed; its exit code and what was said."""
    ours, theirs = pty.openpty()
    environment = {**os.environ, "GATEPOST_SOCKET": str(yard.socket), "COLUMNS": "200"}
    command = [sys.executable, "-m", "gateway", *arguments]
    try:
        with subprocess.Popen(
            command, stdin=theirs, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, env=environment, text=True
        ) as process:
            os.write(ours, typed.encode() + b"\n")
            said, _ = process.communicate(timeout=50)
    finally:
        os.close(ours)
        os.close(theirs)
    return process.returncode, said


def test_the_command_asks_at_a_terminal_and_mbpoll_sees_the_relay(yard: Yard) -> None:
    """The cautions are shown, the name is typed; libmodbus reads the closed output at its published address."""
    line, daemon = yard.lines["quayside"], yard.start()
    daemon.wait_link("slip-gate", "online")
    changed = yard.run("settings", "set", "slip-gate", "--on-time", "1=120")
    assert changed.code == 0, changed.said
    command = ("output", "operate", "slip-gate", "gate", "--reason", "a delivery")
    script = yard.run(*command)
    assert script.code == 1
    assert "somebody at a terminal" in script.said
    code, said = _at_a_terminal(yard, *command, typed="boat-hoist")
    assert code == 1
    assert "nothing was sent" in said
    code, said = _at_a_terminal(yard, *command, typed="gate")
    assert code == 0, said
    assert all(caution in said for caution in CAUTIONS)
    assert "closed once" in said
    daemon.stop()
    assert _outputs_by_mbpoll(line.port) & 1 == 1
    line.tell("input 2 violated")  # the receiver alone times its end, whatever happens here
    daemon.start()
    daemon.wait_link("slip-gate", "online")
    assert daemon.get("/receivers/slip-gate/status")["outputs"][0]["closed"]


def _outputs_by_mbpoll(port: Path) -> int:
    address = Page.read().address("status") + 0x0C
    command = ["mbpoll", "-m", "rtu", "-a", "1", "-0", "-b", "115200", "-P", "none", "-1", "-o", "2"]
    command += ["-r", str(address), "-t", "3:hex", "-c", "1", str(port)]

    def ask() -> str:
        """Bytes that the daemon's last request has left on the terminal may spoil the first answer."""
        done = subprocess.run(command, capture_output=True, text=True, timeout=20, check=False)
        found = re.search(r"^\[\d+\]:\s+0x([0-9A-F]{4})", done.stdout, re.M)
        return found[1] if found else ""

    return int(until(ask, "an answer to mbpoll"), 16)


def test_a_daemon_killed_during_the_warning_operates_nothing() -> None:
    """The horn has begun; after the start the operation is shown as interrupted, and the gate never moves."""
    with open_yard() as yard:
        _settings(yard, 'warning = { output = "boat-hoist", seconds = 5 }\n')
        yard.line("quayside", "--paced", "--baud", "115200")
        daemon = yard.start()
        daemon.wait_link("slip-gate", "online")
        asked = _operate(daemon)
        assert asked.status_code == 202, asked.text
        assert asked.json()["state"] == "warning"
        daemon.kill()
        daemon.start()
        daemon.wait_link("slip-gate", "online")
        place = asked.headers["Location"].removeprefix("/api/v1")
        until(lambda: daemon.get(place)["state"] == "interrupted", "an operation that was interrupted")
        until(lambda: not daemon.get("/receivers/slip-gate/status")["outputs"][1]["closed"], "the end of the warning")
        assert not _closures(daemon)
        assert not [event for event in daemon.events() if event["type"].endswith("output.operated")]
