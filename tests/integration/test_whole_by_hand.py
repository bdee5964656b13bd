"""A boat shed that no line reaches beside a slip gate on a line: from the first inventory to the last tick.

As a user does it: settings with both kinds, commands on the board, the daemon killed in the middle of a visit, a new
roster in the middle of a visit, a transmitter lost meanwhile.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from tests.integration.yard import Daemon, Yard, open_yard, until

SHED = '\n[receivers.boat-shed]\nkind = "manual"\nslots = 20\noutputs = { 1 = "gate", 2 = "hoist" }\n'
GROUPS = """\
[groups.members]
slip-gate = { 1 = ["gate"] }
boat-shed = { 1 = ["gate"] }

[groups.crew]
slip-gate = { 1 = ["gate"] }
boat-shed = { 1 = ["gate"], 2 = ["hoist"] }
"""
INVENTORY = """\
serial,holder,rights
0048200001,Berth 1,1:boat-shed/gate
0048200009,Old key,1:boat-shed/gate
"""
ONE, TWO, THREE = (f"004820000{n}" for n in (1, 2, 3))


@pytest.fixture
def yard() -> Iterator[Yard]:
    """Both receivers, a roster of three, a running daemon."""
    with open_yard() as yard:
        yard.line("quayside")
        yard.write_settings(more=SHED)
        yard.groups.write_text(GROUPS)
        yard.write_roster(f"{ONE},Berth 1,two-button,members", f"{TWO},Barge crew,two-button,crew")
        daemon = yard.start()
        daemon.wait_mirrored("slip-gate")
        until(lambda: daemon.get("/roster")["transmitters"] == 2, "the first roster")
        yield yard


def _sheet(daemon: Daemon) -> dict[str, Any]:
    found: dict[str, Any] = daemon.get("/receivers/boat-shed/visit-sheet")
    return found


def _open(daemon: Daemon) -> dict[int, tuple[str, str]]:
    return {
        line["number"]: (line["work"], line["serial"]) for line in _sheet(daemon)["lines"] if line["state"] == "open"
    }


def _fetched(daemon: Daemon) -> list[str]:
    """Digests of the rosters that came."""
    events = [event["data"] for event in daemon.events() if event["type"] == "local.gatepost.roster.fetched"]
    return [data["digest"] for data in events]


def _held(daemon: Daemon) -> dict[str, dict[str, list[int]]]:
    return {slot["serial"]: slot["outputs"] for slot in daemon.get("/receivers/boat-shed/slots")["slots"]}


@pytest.mark.timeout(120)
def test_a_visit_from_the_inventory_to_the_last_tick(yard: Yard) -> None:
    """Plan, sheet, ticks, a kill, a new roster and a revocation in the middle, and the papers in the end."""
    daemon = yard.daemon
    first = yard.run("visit-sheet", "show", "boat-shed")
    assert "Nobody has said yet what boat-shed holds" in first.out
    inventory = yard.folder / "inventory.csv"
    inventory.write_text(INVENTORY)
    assert yard.run("visit-sheet", "holds", "boat-shed", "--from", inventory).code == 0
    assert _held(daemon) == {ONE: {"1": [1]}, "0048200009": {"1": [1]}}
    applied = yard.run("roster", "apply")
    assert applied.code == 0, applied.said
    assert "It stands on the visit sheet" in applied.out
    remove, gate, hoist = _open(daemon)
    assert list(_open(daemon).values()) == [("remove", "0048200009"), ("learn", TWO), ("learn", TWO)]

    done = yard.run("visit-sheet", "tick", "boat-shed", str(remove), str(gate), "--done-by", "Barge crew")
    assert done.code == 0, done.said
    daemon.kill()
    daemon.start()
    ticked = {line["number"]: line["tick"] for line in _sheet(daemon)["lines"] if line["state"] == "ticked"}
    assert ticked.keys() == {remove, gate}
    assert {(tick["done_by"], tick["proven"]) for tick in ticked.values()} == {("Barge crew", False)}
    assert _held(daemon) == {ONE: {"1": [1]}, TWO: {"1": [1]}}

    yard.write_roster(
        f"{ONE},Berth 1,two-button,members", f"{TWO},Barge crew,two-button,crew", f"{THREE},Berth 3,two-button,crew"
    )
    assert yard.run("roster", "apply").code == 0
    assert yard.run("revoke", ONE, "--reason", "lost on the pontoon").code == 1, "owed at the shed"
    until(lambda: _sheet(daemon)["counts"]["owed"] == 1 and ("remove", ONE) in _open(daemon).values(), "the owed line")
    lines = _sheet(daemon)["lines"]
    assert (lines[0]["serial"], lines[0]["revoked"]) == (ONE, True)
    assert {line["number"] for line in lines if line["state"] == "ticked"} == {remove, gate}
    assert hoist in _open(daemon)
    status = yard.run("status")
    assert status.code == 0, status.said
    assert "1 revocation is owed at the next visit" in status.out
    assert "1 revoked transmitter still works at boat-shed" in status.out
    assert daemon.get(f"/revocations/{ONE}")["states"] == {"boat-shed": "owed", "slip-gate": "proven"}

    numbers = [str(number) for number in _open(daemon)]
    assert yard.run("visit-sheet", "tick", "boat-shed", *numbers).code == 0
    assert _held(daemon) == {TWO: {"1": [1], "2": [2]}, THREE: {"1": [1], "2": [2]}}
    assert daemon.get(f"/revocations/{ONE}")["states"] == {"boat-shed": "by-hand", "slip-gate": "proven"}
    plan = next(plan for plan in daemon.get("/plans")["plans"] if plan["receiver"] == "boat-shed")
    assert (plan["state"], plan["by_hand"]) == ("applied", True)
    assert "not proven" in plan["outcome"]
    assert plan["receipt"] == ""
    assert "owed" not in yard.run("status").out
    agreement = next(one for one in daemon.get("/agreements")["agreements"] if one["receiver"] == "boat-shed")
    assert (agreement["state"], "nobody can prove it" in agreement["sentence"]) == ("equal", True)
    metrics = daemon.client.get("http://localhost/metrics").text
    assert 'gatepost_receiver_online{receiver="slip-gate"}' in metrics
    assert 'gatepost_receiver_online{receiver="boat-shed"}' not in metrics
    told = [event for event in daemon.events() if event.get("subject") == "boat-shed"]
    assert all(event["data"]["proven"] is False for event in told if event["type"].endswith("slot.changed"))
    audit = [row for row in daemon.get("/audit", limit=100)["rows"] if row["what"] == "visit_line.ticked"]
    assert len(audit) == 2 * (2 + len(numbers))

    undone = yard.run("visit-sheet", "undo", "boat-shed", numbers[0])
    assert undone.code == 0, undone.said
    assert daemon.get(f"/revocations/{ONE}")["states"]["boat-shed"] == "owed"


def test_what_is_wrong_is_told(yard: Yard) -> None:
    """Each refusal says what to do; nothing is changed by it."""
    daemon = yard.daemon
    for arguments, words in (
        (("tick", "boat-shed", "1"), "has no line 1"),
        (("show", "slip-gate"), "needs no visit sheet"),
        (("show", "hen-house"), "no receiver"),
        (("holds", "boat-shed", "--transmitter", f"{ONE} 1:lift"), "has no output"),
        (("holds", "boat-shed", "--transmitter", f"{ONE} 9:gate"), "outputs"),
    ):
        refused = yard.run("visit-sheet", *arguments)
        assert refused.code in (1, 2), refused.said
        assert words in refused.said
    preview = yard.run("roster", "preview", "--receiver", "boat-shed")
    assert preview.code == 1
    assert "visit-sheet holds boat-shed" in preview.said
    reset = daemon.post("/receivers/boat-shed/reset", {"typed": "boat-shed"})
    assert reset.status_code in (404, 422), reset.text
    assert daemon.client.get("/receivers/boat-shed/settings").status_code == 404
    checked = yard.check()
    assert "boat-shed" in checked.out
    status = daemon.get("/receivers/boat-shed/status")
    assert (status["link"], status["current"]) == ("by-hand", False)
    snapshot = daemon.post("/receivers/boat-shed/snapshots")
    assert snapshot.status_code == 409
    assert yard.run("visit-sheet", "holds", "boat-shed", "--transmitter", f"{ONE} 1:gate 2:hoist").code == 0
    taken = daemon.post("/receivers/boat-shed/snapshots")
    assert taken.status_code == 201, taken.text
    assert daemon.client.get(f"/snapshots/{taken.json()['id']}").json()["slots"]
    replaced = daemon.post("/receivers/boat-shed/restores", {"snapshot": taken.json()["id"], "replacement": "FQ-0009"})
    assert replaced.status_code == 404
    assert "visit-sheet holds boat-shed --empty" in replaced.json()["remedy"]


def test_a_dead_receiver_is_replaced_by_hand(yard: Yard) -> None:
    """What a snapshot holds comes onto the visit sheet, with what to set at the board; the roster waits meanwhile."""
    daemon = yard.daemon
    assert yard.run("visit-sheet", "holds", "boat-shed", "--transmitter", f"{THREE} 1:gate 2:hoist").code == 0
    taken = yard.run("snapshot", "take", "boat-shed", "--json").json["id"]
    assert yard.run("visit-sheet", "holds", "boat-shed", "--empty").code == 0
    restored = yard.run("snapshot", "restore", taken, "--yes")
    assert restored.code == 0, restored.said
    assert "to be done by hand" in restored.out
    assert "It stands on the visit sheet: gatepost visit-sheet show boat-shed" in restored.out
    assert set(_open(daemon).values()) == {("learn", THREE)}
    waits = yard.run("roster", "apply", "--receiver", "boat-shed")
    assert (waits.code, "The roster waits at boat-shed" in waits.said) == (1, True)
    assert yard.run("visit-sheet", "tick", "boat-shed", *map(str, _open(daemon))).code == 0
    assert _held(daemon) == {THREE: {"1": [1], "2": [2]}}
    assert yard.run("snapshot", "compare", taken).code == 0
    assert yard.run("snapshot", "approve", "boat-shed", "--roster").code == 0
    until(lambda: ("learn", TWO) in _open(daemon).values(), "the roster's own lines")

    other = yard.run("snapshot", "take", "slip-gate", "--json").json["id"]
    cleared = yard.run("reset", "boat-shed")
    assert (cleared.code, cleared.out) == (1, ""), "nobody is asked about what can't be done"
    assert "No line reaches boat-shed" in cleared.err
    preview = yard.run("snapshot", "restore", other, "--receiver", "boat-shed", "--as", "replace", "--preview")
    assert "First: Teach output 1 (gate) an on-time of 5 s at the board, as it had." in preview.out


@pytest.mark.timeout(120)
def test_outputs_are_called_otherwise_with_and_without_a_line(yard: Yard) -> None:
    """In use at once, with nothing written anywhere; rosters are read by old names and new, also when the database is
    lost and in a check without the daemon."""
    daemon, line = yard.daemon, yard.lines["quayside"]
    assert yard.run("roster", "apply", "--receiver", "slip-gate").code == 0
    assert yard.run("visit-sheet", "holds", "boat-shed", "--empty").code == 0
    before = line.memory()
    named = yard.run("settings", "set", "slip-gate", "--output-name", "gate=slip", "--output-name", "3=lamp")
    assert (named.code, named.out.splitlines()[:2]) == (
        0, ["Output 1 is called slip, before gate.", "Output 3 is called lamp."],
    )  # fmt: skip
    assert yard.run("settings", "set", "boat-shed", "--output-name", "1=door").code == 0
    told = [event["data"] for event in daemon.events() if event["type"] == "local.gatepost.settings.changed"]
    assert [data["output_names"][0] for data in told] == [
        {"output": 1, "before": "gate", "after": "slip"}, {"output": 1, "before": "gate", "after": "door"},
    ]  # fmt: skip
    assert yard.run("roster", "apply").code == 0
    assert {work["output_name"] for work in _sheet(daemon)["lines"]} == {"door", "hoist"}
    preview, report, taken, groups = yard.run_all(
        ["roster", "preview", "--receiver", "slip-gate", "--json"],
        ["report", "handover", "--format", "json"],
        ["settings", "set", "slip-gate", "--output-name", "2=gate"],
        ["people", "group", "list"],
    )
    assert [plan["changes"] for plan in preview.json] == [[]]
    assert [row["name"] for row in report.json["receivers"][0]["outputs"]][:3] == ["slip", "boat-hoist", "lamp"]
    assert taken.code == 1
    assert "the roster in force writes output 1 so" in taken.err
    assert "crew: 1:boat-shed/door 2:boat-shed/hoist 1:slip-gate/slip" in " ".join(groups.out.split())
    yard.groups.write_text(
        GROUPS.replace('[groups.crew]\nslip-gate = { 1 = ["gate"]', '[groups.crew]\nslip-gate = { 1 = ["slip"]')
    )
    first = len(_fetched(daemon))
    daemon.post("/roster/fetches")
    until(lambda: _fetched(daemon)[first:], "the new roster")
    daemon.stop()
    for lost in (yard.folder / "state").glob("gatepost.db*"):
        lost.unlink()
    checked = yard.check()
    assert checked.code == 0, checked.said
    daemon.start()
    daemon.wait_mirrored("slip-gate")
    state = daemon.get("/roster")
    assert (state["transmitters"], state["problem"], state["faults"]) == (2, "", [])
    shown = yard.run("settings", "show", "slip-gate")
    assert "output 1 is called slip (in the settings file gate)" in shown.out
    assert line.memory() == before
