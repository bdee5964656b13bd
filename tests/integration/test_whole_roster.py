"""From an untouched receiver to the roster and back, by commands: plans in words, the guard, faults, a lost source.

The receiver's own word (`show`) says what it holds; the API's events say what was told.
"""

from __future__ import annotations

import time
from collections.abc import Iterator

import pytest

from tests.integration.yard import Yard, berths, open_yard, until


@pytest.fixture
def yard() -> Iterator[Yard]:
    with open_yard() as yard:
        yard.line("quayside")
        yard.write_settings()
        yard.write_roster(*berths(4))
        yield yard


def _names(yard: Yard) -> list[str]:
    return [event["type"].removeprefix("local.gatepost.") for event in yard.daemon.events()]


def test_a_first_start_writes_nothing_by_itself(yard: Yard) -> None:
    """A roster is fetched and can be previewed; five seconds later the receiver is as it was."""
    line = yard.lines["quayside"]
    before = line.memory()
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    until(lambda: daemon.get("/roster")["transmitters"] == 4, "the first roster")
    end = time.monotonic() + 5
    until(lambda: time.monotonic() > end, "five seconds of watching", 10)
    preview = yard.run("roster", "preview")
    assert preview.code == 0
    assert "slip-gate: 4 added, 0 changed, 0 removed, 0 unchanged" in preview.out
    assert (
        "slot 1: Berth 1, two-button transmitter 0048200001, is added: position 1 works output 1 (gate)" in preview.out
    )
    assert line.memory() == before
    assert line.shown("counters")["slot_writes"] == 0
    assert "The next sync is due" in yard.run("status").out


def test_from_nothing_to_the_roster_and_through_its_changes(yard: Yard) -> None:
    """Apply; apply again writes nothing; one added, one of another group, one removed: said, written, and proven."""
    line = yard.lines["quayside"]
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    applied = yard.run("roster", "apply")
    assert applied.code == 0
    assert "slip-gate: 4 added" in applied.out
    assert "written and proven" in applied.out
    assert line.rights() == {f"004820000{n}": {"1": [1]} for n in range(1, 5)}
    memory = line.memory()
    again = yard.run("roster", "apply", "--json")
    assert again.code == 0
    assert [(plan["state"], plan["unchanged"], plan["changes"]) for plan in again.json] == [("applied", 4, [])]
    assert line.memory() == memory

    yard.write_roster(*berths(2), "0048200003,Berth 3,two-button,hoist-crew", "48200009,Berth 9,two-button,hoist-crew")
    preview = yard.run("roster", "preview")
    assert "1 added, 1 changed, 1 removed, 2 unchanged" in preview.out
    for words in (
        "Berth 9, two-button transmitter 0048200009, is added: position 1 works output 1 (gate); position 2 works",
        "Berth 3, two-button transmitter 0048200003, gains output 2 (boat-hoist)",
        "0048200004, is removed",
    ):
        assert words in preview.out, preview.out
    assert line.memory() == memory
    assert yard.run("roster", "apply").code == 0
    assert line.rights() == {
        "0048200001": {"1": [1]},
        "0048200002": {"1": [1]},
        "0048200003": {"1": [1], "2": [2]},
        "0048200009": {"1": [1], "2": [2]},
    }
    assert _names(yard).count("plan.applied") == 2
    assert not {"drift.found", "plan.failed"} & set(_names(yard))
    check = yard.check("--json")
    assert check.code == 0
    assert all(finding["ok"] for finding in check.json)


def test_the_guard_a_faulty_roster_and_a_lost_source(yard: Yard) -> None:
    """Many removals wait for `--approve`; a faulty file changes nothing; a lost one neither, nor after a restart."""
    line = yard.lines["quayside"]
    yard.write_roster(*berths(10))
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    assert yard.run("roster", "apply").code == 0
    full = line.memory()

    yard.write_roster(*berths(6))
    held = yard.run("roster", "apply")
    assert held.code == 1
    assert "Held: " in held.out
    assert "gatepost plan approve " in held.out
    assert line.memory() == full
    approved = yard.run("roster", "apply", "--approve")
    assert approved.code == 0, approved.said
    assert sorted(line.rights()) == [f"004820000{n}" for n in range(1, 7)]
    six = line.memory()

    yard.roster.write_text(yard.roster.read_text() + "0048200007,,two-button,berth-holders\n")
    assert yard.run("roster", "apply").code == 1
    yard.roster.unlink()
    assert yard.run("roster", "apply").code == 3
    assert daemon.stop() == 0
    daemon.start()
    daemon.wait_mirrored("slip-gate")
    state = daemon.get("/roster")
    assert state["transmitters"] == 6
    assert yard.run("roster", "preview").code == 3
    plan = daemon.post("/plans", {"receiver": "slip-gate", "preview": True}).json()
    assert (plan["unchanged"], plan["changes"]) == (6, [])
    assert line.memory() == six
    assert [name for name in _names(yard) if name.startswith("roster.")] == [
        "roster.fetched", "roster.fetched", "roster.refused", "roster.unreachable", "roster.unreachable",
    ]  # fmt: skip
    yard.write_roster(*berths(6))
    assert yard.run("roster", "apply").code == 0
    assert line.memory() == six


def test_a_revocation_in_the_middle_of_a_bulk_apply(yard: Yard) -> None:
    """It overtakes the bulk: proven gone long before the plan's end, and the plan does not bring it back."""
    line = yard.lines["quayside"]
    line.stop()
    line.options = ("--paced", "--baud", "115200")
    line.start()
    yard.write_settings(baud=115200)
    yard.write_roster(*berths(400))
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    assert daemon.post("/roster/fetches").status_code == 200
    plan = daemon.post("/plans", {"receiver": "slip-gate"}).json()

    def progress() -> int:
        now = daemon.get(f"/plans/{plan['id']}")
        assert now["state"] in ("pending", "applying"), now
        return int((now["progress"] or {"done": 0})["done"])

    until(lambda: progress() >= 40, "forty slots written")
    revoked = yard.run("revoke", "48200001", "--reason", "lost on the pontoon", "--json")
    assert revoked.code == 0, revoked.said
    assert revoked.json["proven"] is True
    assert "0048200001" not in line.rights()
    assert progress() < 400
    done = until(
        lambda: (
            found if (found := daemon.get(f"/plans/{plan['id']}"))["state"] not in ("pending", "applying") else None
        ),
        "the plan's end",
    )
    assert done["state"] in ("applied", "superseded"), done
    assert yard.run("roster", "apply").code == 0
    assert sorted(line.rights()) == [f"{48_200_001 + n:010d}" for n in range(1, 400)]
    assert daemon.post("/plans", {"receiver": "slip-gate", "preview": True}).json()["changes"] == []
