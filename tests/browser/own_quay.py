"""A yard whose gateway keeps the roster itself: two receivers on a line, a boat shed that no line reaches, and a gate
that may be worked from afar. What people do by hand on the page is tried here.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from tests.browser.quay import MARKUP, Quay, free_port
from tests.integration.yard import Daemon, Yard, open_yard, until

__all__ = ["CREW", "STRANGER", "bring", "open_own_quay"]

#: Somebody with two outputs, and a transmitter that no roster names.
CREW, STRANGER = "0048231911", "0048231999"
_BAUD = 115_200
_RECEIVERS = """
[receivers.slip-gate.inputs]
1 = { name = "gate closed", role = "closed", gate = "slip-gate" }
2 = { name = "light barrier", role = "safety", gate = "slip-gate" }

[receivers.car-park]
line = "quayside"
address = 2
outputs = { 1 = "barrier" }
operate = ["barrier"]

[receivers.boat-shed]
kind = "manual"
slots = 20
outputs = { 1 = "shutter", 2 = "hoist" }

[receivers.tool-store]
kind = "manual"
slots = 5
outputs = { 1 = "door" }

[gates.slip-gate]
title = "Slip gate"
receiver = "slip-gate"
outputs = ["gate"]
travel_s = 2

[gates.barrier]
title = "Car-park barrier"
kind = "barrier"
receiver = "car-park"
outputs = ["barrier"]
"""
_GROUPS = """\
[groups.berth-holders]
slip-gate = { 1 = ["gate"] }
car-park = { 1 = ["barrier"] }

[groups.hoist-crew]
slip-gate = { 1 = ["gate"], 2 = ["boat-hoist"] }
boat-shed = { 1 = ["shutter"], 2 = ["hoist"] }
"""


@contextmanager
def open_own_quay(odd_name: str = MARKUP) -> Iterator[Quay]:
    """Start it, put a roster in and bring it to the receivers; the boat shed's sheet has lines to do."""
    with open_yard() as yard:
        port = free_port()
        yard.line(
            "quayside", "--baud", str(_BAUD), "--address", "1", "--serial", "FQ-1", "--address", "2", "--serial", "FQ-2"
        )
        yard.write_settings(
            listen=f"127.0.0.1:{port}", baud=_BAUD, roster='source = "local"', inputs='operate = ["gate"]',
            more=_RECEIVERS,
        )  # fmt: skip
        daemon = yard.start()
        daemon.wait_mirrored("slip-gate", "car-park")
        _import(yard, daemon, odd_name)
        held = {"transmitters": [{"serial": "0048200099", "outputs": {"1": ["shutter"]}, "name": "Old key"}]}
        assert daemon.client.put("/receivers/boat-shed/holdings", json=held).status_code == 200
        bring(daemon, "slip-gate", "car-park", "boat-shed")
        yield Quay(yard, f"http://127.0.0.1:{port}")


def _import(yard: Yard, daemon: Daemon, odd_name: str) -> None:
    rows = [
        *(f"{48_200_001 + n:010d},Berth {n + 1},two-button,berth-holders" for n in range(6)),
        f"{CREW},Barge crew,two-button,hoist-crew",
        f"0048900001,{odd_name},two-button,berth-holders",
    ]
    yard.write_roster(*rows)
    files = {"roster": ("roster.csv", yard.roster.read_bytes()), "groups": ("groups.toml", _GROUPS.encode())}
    answer = daemon.client.put("/roster/files", files=files)
    assert answer.status_code == 200, answer.text


def bring(daemon: Daemon, *receivers: str) -> None:
    """The roster to these receivers; done when each plan is over, or on a sheet."""
    for receiver in receivers:
        made = daemon.post("/plans", {"receiver": receiver})
        assert made.status_code in (200, 202), made.text
        plan = made.json()
        until(
            lambda plan=plan: plan["by_hand"] or daemon.get(f"/plans/{plan['id']}")["state"] == "applied",  # type: ignore[misc]
            f"a plan for {receiver}: {plan}",
            60,
        )
