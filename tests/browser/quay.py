"""A yard for the page's tests: three gates, people with odd names, and a fixed address that survives a restart."""

from __future__ import annotations

import json
import socket
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from tests.integration.yard import Yard, open_yard, until

__all__ = ["MARKUP", "Quay", "open_quay"]

#: A holder whose name would run as a script if it ever became markup (the RELIABILITY fixture).
MARKUP = "<img src=x onerror=alert(1)>"

_GATES = """
[receivers.slip-gate.inputs]
1 = { name = "gate closed", role = "closed", gate = "slip-gate" }

[receivers.car-park]
line = "quayside"
address = 2
outputs = { 1 = "barrier" }

[receivers.car-park.inputs]
1 = { name = "barrier down", role = "closed", gate = "barrier" }

[gates.slip-gate]
title = "Slip gate"
receiver = "slip-gate"
outputs = ["gate"]
travel_s = 2
stay_open_limit_s = 3600
service_cycles = 5000

[gates.barrier]
title = "Car-park barrier"
kind = "barrier"
receiver = "car-park"
outputs = ["barrier"]
travel_s = 2
closing = "by-itself"
"""
_BAUD = 115_200
_GROUPS = """\
[groups.berth-holders]
slip-gate = { 1 = ["gate"] }
car-park = { 1 = ["barrier"] }

[groups.visitors]
slip-gate = {}

[groups.hoist-crew]
slip-gate = { 1 = ["gate"], 2 = ["boat-hoist"] }
"""


@dataclass(frozen=True, slots=True)
class Quay:
    """A running yard and where its page is."""

    yard: Yard
    address: str

    def token(self, *scopes: str) -> str:
        """A new token."""
        answer = self.yard.daemon.post("/tokens", {"name": "harbour office desk", "scopes": list(scopes)})
        return str(answer.json()["secret"])

    def press(self, serial: int, position: int = 1, address: int = 2) -> None:
        """A transmitter's button."""
        self.yard.lines["quayside"].tell(f"@{address} press {serial} {position}")

    def open_gate(self, address: int = 1) -> None:
        """It leaves its shut position."""
        self.yard.lines["quayside"].tell(f"@{address} input 1 violated")

    def shut_gate(self, address: int = 1) -> None:
        """It is shut again."""
        self.yard.lines["quayside"].tell(f"@{address} input 1 normal")


def free_port() -> int:
    """A port that nobody has just now."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


@contextmanager
def open_quay(people: int = 30, held: int = 1000, *, odd_name: str = MARKUP) -> Iterator[Quay]:
    """Start it and bring its receivers to the roster. Of more people than `held` the others have rights elsewhere."""
    with open_yard() as yard:
        port = free_port()
        yard.line(
            "quayside", "--baud", str(_BAUD), "--address", "1", "--serial", "FQ-1", "--address", "2", "--serial", "FQ-2"
        )
        yard.groups.write_text(_GROUPS)
        yard.write_roster(
            *(
                f"{48_200_001 + n:010d},Berth {n + 1},two-button,{'berth-holders' if n < held - 1 else 'visitors'}"
                for n in range(people)
            ),
            f"0048900001,{odd_name},two-button,berth-holders",
        )
        yard.write_settings(listen=f"127.0.0.1:{port}", baud=_BAUD, more=_GATES)
        text = yard.config.read_text().replace('inputs = { 1 = "gate closed" }\n', "")
        yard.config.write_text(text)
        daemon = yard.start()
        daemon.wait_mirrored("slip-gate", "car-park")
        assert daemon.post("/roster/fetches").status_code == 200
        for receiver in ("slip-gate", "car-park"):
            plan = daemon.post("/plans", {"receiver": receiver}).json()
            until(
                lambda plan=plan: daemon.get(f"/plans/{plan['id']}")["state"] == "applied",  # type: ignore[misc]
                f"a plan for {receiver}: {json.dumps(plan)[:200]}",
                150,
            )
        yield Quay(yard, f"http://127.0.0.1:{port}")
