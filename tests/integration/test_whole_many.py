"""Thirty-two receivers on four lines from one roster of 5,000 holders; one of them dead.

The lines work at the same time, and the dead receiver keeps nobody from the roster: shown by the order of events in the
journal and by what the lines counted, not by durations. The dead one is seen as silent and its revocation as
pending; back again, it gets what it is owed.

`GATEPOST_MANY=full` gives every receiver as many holders as it has slots, on wires that take their time, and prints
what it took (`pytest -s`).
"""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from tests.integration.yard import HEADER, Daemon, Yard, open_yard, until

LINES = ("quayside", "sheds", "slipway", "moorings")
EACH = 8
HOLDERS = 5000
NAMES = [f"{line}-{number}" for number in range(1, EACH + 1) for line in LINES]
DEAD = "sheds-3"
FULL = os.environ.get("GATEPOST_MANY") == "full"
#: Who works every receiver, how many groups in a row work one, and how many of the holders are of this site; the others
#: are elsewhere. In the full form these come to 1,024 transmitters, or one or two fewer: a virtual receiver's slots.
STAFF = 106 if FULL else 10
SHARED = 6 if FULL else 1
HERE = HOLDERS if FULL else STAFF + 30 * len(NAMES)
DEADLINE_S = 900.0 if FULL else 90.0
FIRST = 48_200_001


def _settings(yard: Yard) -> str:
    text = (
        f'[gateway]\nsite = "fennel-quay"\nclock = "trusted"\nstate = "{yard.folder / "state"}"\n'
        f'[api]\nlisten = "127.0.0.1:0"\nsocket = "{yard.socket}"\n'
        f'[roster]\nsource = "{yard.roster}"\ngroups = "{yard.groups}"\n'
    )
    for line in LINES:
        text += f'[lines.{line}]\nport = "{yard.folder / line}"\nbaud = 115200\n'
        for number in range(1, EACH + 1):
            text += f'[receivers.{line}-{number}]\nline = "{line}"\naddress = {number}\noutputs = {{ 1 = "gate" }}\n'
    return text


def _groups() -> str:
    text = "[groups.staff]\n" + "".join(f'{name} = {{ 1 = ["gate"] }}\n' for name in NAMES)
    for place in range(len(NAMES)):
        text += f"\n[groups.g{place}]\n"
        for further in range(SHARED):
            text += f'{NAMES[(place + further) % len(NAMES)]} = {{ 1 = ["gate"] }}\n'
    return text


def _roster() -> str:
    rows = [f"{FIRST + n:010d},Harbour {n + 1},two-button,staff,\n" for n in range(STAFF)]
    for n in range(STAFF, HOLDERS):
        site = "" if n < HERE else "far-quay"
        rows.append(f"{FIRST + n:010d},Berth {n},two-button,g{n % len(NAMES)},{site}\n")
    return HEADER.replace("\n", ",sites\n") + "".join(rows)


def _serials(name: str) -> set[str]:
    """Who has rights at this receiver, reckoned without the program."""
    place = NAMES.index(name)
    groups = {(place - further) % len(NAMES) for further in range(SHARED)}
    return {f"{FIRST + n:010d}" for n in range(HERE) if n < STAFF or n % len(NAMES) in groups}


@pytest.fixture
def yard() -> Iterator[Yard]:
    """Four processes with eight receivers each, and a daemon that has read them all."""
    with open_yard() as yard:
        for line in LINES:
            addresses = [text for n in range(1, EACH + 1) for text in ("--address", str(n))]
            yard.line(line, "--baud", "115200", *(["--paced"] if FULL else []), *addresses)
        yard.config.write_text(_settings(yard))
        yard.groups.write_text(_groups())
        yard.roster.write_text(_roster())
        daemon = yard.start()
        daemon.wait_mirrored(*NAMES)
        until(lambda: daemon.get("/roster")["transmitters"] == HOLDERS, "the roster")
        yield yard


def _start(daemon: Daemon, names: list[str]) -> dict[str, str]:
    """A plan for each; its id."""
    found = {}
    for name in names:
        answer = daemon.post("/plans", {"receiver": name})
        assert answer.status_code == 202, answer.text
        found[name] = answer.json()["id"]
    return found


def _wait_applied(daemon: Daemon, plans: dict[str, str]) -> None:
    for name, plan in plans.items():
        until(lambda plan=plan: _ended(daemon, plan) == "applied", f"the plan of {name}", DEADLINE_S)  # type: ignore[misc]


def _ended(daemon: Daemon, plan: str) -> str:
    state: str = daemon.get(f"/plans/{plan}/application")["state"]
    assert state in ("pending", "applying", "applied"), state
    return state


def _spans(events: list[dict[str, Any]]) -> dict[str, tuple[datetime, datetime]]:
    """By line: when the first slot was told as written, and when the last plan was proven."""
    times: defaultdict[str, list[datetime]] = defaultdict(list)
    for event in events:
        if event["type"].endswith(("slot.changed", "plan.applied")):
            times[event["subject"].rpartition("-")[0]].append(datetime.fromisoformat(event["time"]))
    return {line: (min(found), max(found)) for line, found in times.items()}


def _tell_figures(daemon: Daemon, spans: dict[str, tuple[datetime, datetime]]) -> None:
    """For `docs/benchmarks.md`: no figure is judged."""
    for line, (first, last) in spans.items():
        print(f"{line}: {(last - first).total_seconds():.1f} s from the first slot to the last proof")
    status = Path(f"/proc/{daemon.process.pid}/status").read_text()
    print(next(line for line in status.splitlines() if line.startswith("VmHWM")))


@pytest.mark.timeout(3600 if FULL else 180)
def test_thirty_two_receivers_and_one_of_them_dead(yard: Yard) -> None:
    """All that live are proven while one is dead; four lines at a time; what the dead one is owed comes with it."""
    daemon, line = yard.daemon, yard.lines["sheds"]
    assert line.tell("@3 fault silence on") == "ok"
    daemon.wait_link(DEAD, "silent")
    living = [name for name in NAMES if name != DEAD]
    plans = _start(daemon, living)
    refused = daemon.post("/plans", {"receiver": DEAD})
    assert refused.status_code == 504, refused.text
    _wait_applied(daemon, plans)
    for name in living:
        its_line, _, number = name.rpartition("-")
        assert yard.lines[its_line].rights(int(number)).keys() == _serials(name), name
    assert daemon.receiver(DEAD)["link"] == "silent"
    assert line.rights(3) == {}

    spans = _spans(daemon.events())
    assert spans.keys() == set(LINES)
    assert max(first for first, _ in spans.values()) < min(last for _, last in spans.values()), spans
    if FULL:
        _tell_figures(daemon, spans)

    lost = f"{FIRST:010d}"
    assert daemon.post("/revocations", {"serial": lost, "reason": "lost on the pontoon"}).status_code == 202

    def proven() -> bool:
        states = daemon.get(f"/revocations/{lost}")["states"]
        return {name for name, state in states.items() if state == "proven"} == set(living)

    until(proven, "the revocation proven at thirty-one", DEADLINE_S)
    assert daemon.get(f"/revocations/{lost}")["states"][DEAD] == "pending"
    status = yard.run("status")
    assert status.code == 3
    assert f"{DEAD} does not answer" in status.out

    assert line.tell("@3 fault silence off") == "ok"
    daemon.wait_link(DEAD, "online")
    until(lambda: daemon.get(f"/revocations/{lost}")["proven"], "the last proof", DEADLINE_S)
    last = _start(daemon, [DEAD])
    _wait_applied(daemon, last)
    assert line.rights(3).keys() == _serials(DEAD) - {lost}
    for one in yard.lines.values():
        counters = one.shown("counters")
        assert counters["broken_requests"] == 0
