"""Fennel Quay, the invented boatyard: its receivers, its holders, its files.

Everything here is made up and always comes out the same, so that the demo can be compared from run to run.
"""

from __future__ import annotations

import csv
import io
import random
from dataclasses import dataclass
from pathlib import Path

__all__ = [
    "GATES_TOML",
    "GROUPS_TOML",
    "LOST",
    "RECEIVERS",
    "Place",
    "Row",
    "Watcher",
    "holders",
    "roster_csv",
    "settings_toml",
]


@dataclass(frozen=True, slots=True)
class Watcher:
    """An input: what people call it, what it tells of, and the gate it belongs to (empty: none)."""

    name: str
    role: str
    gate: str = ""


@dataclass(frozen=True, slots=True)
class Place:
    """One receiver of the yard: where it is wired and what people call its outputs and inputs."""

    name: str
    line: str
    address: int
    serial: str
    outputs: dict[int, str]
    inputs: dict[int, Watcher]


RECEIVERS = (
    Place(
        "slip-gate",
        "quayside",
        1,
        "FQ-1041",
        {1: "gate", 2: "lamp", 3: "boat-hoist"},
        {1: Watcher("gate closed", "closed", "slip-gate"), 2: Watcher("hoist parked", "other")},
    ),
    Place(
        "car-park",
        "quayside",
        2,
        "FQ-1042",
        {1: "barrier", 2: "pedestrian-door"},
        {1: Watcher("barrier down", "closed", "car-park-barrier")},
    ),
    Place(
        "workshop",
        "workshop",
        1,
        "FQ-2007",
        {1: "shutter", 2: "bay-lights"},
        {1: Watcher("shutter closed", "closed", "workshop-shutter"), 2: Watcher("housing", "tamper")},
    ),
)

#: Every gate's contact is normal while it is shut.
GATES_TOML = """\
[gates.slip-gate]
title = "Slip gate"
receiver = "slip-gate"
outputs = ["gate"]
travel_s = 12
stay_open_limit_s = 60

[gates.car-park-barrier]
title = "Car-park barrier"
kind = "barrier"
receiver = "car-park"
outputs = ["barrier"]
travel_s = 2
stay_open_limit_s = 120
closing = "by-itself"

[gates.workshop-shutter]
title = "Workshop shutter"
kind = "shutter"
receiver = "workshop"
outputs = ["shutter"]
travel_s = 20
stay_open_limit_s = "none"
service_cycles = 5000
"""

GROUPS_TOML = """\
[groups.berth-holders]
slip-gate = { 1 = ["gate"] }
car-park = { 1 = ["barrier"], 2 = ["pedestrian-door"] }

[groups.hoist-crew]
slip-gate = { 1 = ["gate"], 2 = ["lamp"], "1+2" = ["boat-hoist"] }
car-park = { 3 = ["barrier"] }
workshop = { 4 = ["shutter"] }

[groups.shipwrights]
slip-gate = { 1 = ["gate"] }
car-park = { 2 = ["barrier"] }
workshop = { 3 = ["shutter"], 4 = ["bay-lights"] }

[groups.harbour-office]
slip-gate = { 1 = ["gate", "lamp"] }
car-park = { 2 = ["barrier"], 3 = ["pedestrian-door"] }
workshop = { 4 = ["shutter"] }

[kinds.four-button-plus]
positions = ["1", "2", "3", "4", "1+2"]
"""

_GROUPS = (
    ("berth-holders", "two-button", "Berth {n}", 320),
    ("hoist-crew", "four-button-plus", "Hoist crew {n}", 14),
    ("shipwrights", "four-button", "Shipwright {n}", 36),
    ("harbour-office", "four-button", "Harbour office {n}", 8),
)


@dataclass(frozen=True, slots=True)
class Row:
    """One transmitter of the yard."""

    serial: int
    holder: str
    kind: str
    group: str


def holders() -> tuple[Row, ...]:
    """Every transmitter of the yard, always the same; some berths have two."""
    dice = random.Random(1907)  # noqa: S311 - invented data, not a secret
    serials = iter(sorted(dice.sample(range(48_000_000, 48_900_000), 500)))
    rows = []
    for group, kind, label, count in _GROUPS:
        for n in range(1, count + 1):
            rows.append(Row(next(serials), label.format(n=n), kind, group))
            if group == "berth-holders" and n % 16 == 0:
                rows.append(Row(next(serials), label.format(n=n), kind, group))
    return tuple(rows)


#: The transmitter that is lost in the demo: the second one of berth 112.
LOST = next(row for row in reversed(holders()) if row.holder == "Berth 112")


def roster_csv() -> str:
    """The central file of the yard."""
    text = io.StringIO()
    sheet = csv.writer(text, lineterminator="\n")
    sheet.writerow(["serial", "holder", "kind", "group"])
    sheet.writerows([f"{row.serial:010d}", row.holder, row.kind, row.group] for row in holders())
    return text.getvalue()


def settings_toml(folder: Path, listen: str, baud: int) -> str:
    """The settings of the yard's gateway, with everything below `folder`."""
    parts = [
        '[gateway]\nsite = "fennel-quay"\ntime_zone = "Europe/London"\nclock = "trusted"\n'
        f'state = "{folder / "state"}"',
        f'[api]\nlisten = "{listen}"\nsocket = "{folder / "api.sock"}"',
        f'[roster]\nsource = "{folder / "roster.csv"}"\ngroups = "{folder / "groups.toml"}"\n'
        'schedule = "30 2 * * *"\nspread_s = 60',
    ]
    for line in sorted({place.line for place in RECEIVERS}):
        parts.append(f'[lines.{line}]\nport = "{folder / line}"\nbaud = {baud}')
    for place in RECEIVERS:
        outputs = ", ".join(f'{number} = "{name}"' for number, name in place.outputs.items())
        inputs = ", ".join(f"{number} = {_input_toml(watcher)}" for number, watcher in place.inputs.items())
        parts.append(
            f'[receivers.{place.name}]\nline = "{place.line}"\naddress = {place.address}\n'
            f"outputs = {{ {outputs} }}\ninputs = {{ {inputs} }}"
        )
    return "\n\n".join([*parts, GATES_TOML])


def _input_toml(watcher: Watcher) -> str:
    gate = f', gate = "{watcher.gate}"' if watcher.gate else ""
    return f'{{ name = "{watcher.name}", role = "{watcher.role}"{gate} }}'
