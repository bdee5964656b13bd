"""The archive end to end, as processes: take, clear, restore, replace, cut in the middle, rehearse.

What the receiver holds is read by pymodbus from the page's addresses, and by the receiver's own word.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import httpx
import jsonschema
import pytest

import gateway
from tests.integration.yard import Yard, berths, memory_sums, open_yard, until

BAUD = 115200
SCHEMA = Path(gateway.__file__).parent / "store" / "snapshot.schema.json"


def start_line(yard: Yard, serial: str, memory: str = "memory") -> None:
    """One paced receiver of this serial; another memory stands for another board."""
    options = ("--paced", "--baud", str(BAUD), "--serial", serial, "--memory", str(yard.folder / memory))
    yard.line("quayside", *options)


@pytest.fixture
def yard() -> Iterator[Yard]:
    """A yard with 150 transmitters in one receiver, on-times of its own, and its daemon running."""
    with open_yard() as found:
        found.write_settings(baud=BAUD)
        found.write_roster(*berths(150))
        start_line(found, "FQ-0001")
        daemon = found.start()
        daemon.wait_mirrored("slip-gate")
        assert found.run("roster", "apply").code == 0
        assert found.run("settings", "set", "slip-gate", "--on-time", "1=12", "--lock-local-programming").code == 0
        yield found


def block_sums(yard: Yard) -> list[int]:
    """The block CRCs without the revisions around them. The daemon must not hold the port."""
    return memory_sums(yard.folder / "quayside", baud=BAUD)[2:66]


def take(yard: Yard) -> str:
    done = yard.run("snapshot", "take", "slip-gate", "--json")
    assert done.code == 0, done.said
    return str(done.json["id"])


def newest_plan(yard: Yard) -> dict[str, Any]:
    found: dict[str, Any] = yard.daemon.get("/plans", limit=1)["plans"][0]
    return found


def wait_applied(yard: Yard) -> dict[str, Any]:
    return until(lambda: p if (p := newest_plan(yard))["state"] == "applied" else None, "an applied plan", 60) or {}


def test_taken_cleared_and_restored_it_is_the_same_by_every_block(yard: Yard) -> None:
    """Serials, names, positions, settings: equal by the CRC of each block, read by another program."""
    taken = take(yard)
    yard.daemon.stop()
    before = block_sums(yard)
    yard.daemon.start()
    yard.daemon.wait_mirrored("slip-gate")
    wrong = yard.run("reset", "slip-gate", "--confirm", "car-park")
    assert wrong.code == 1
    assert len(yard.lines["quayside"].rights()) == 150
    cleared = yard.run("reset", "slip-gate", "--confirm", "slip-gate")
    assert cleared.code == 0, cleared.said
    assert "The way back: gatepost snapshot restore" in cleared.out
    assert yard.lines["quayside"].rights() == {}
    refused = yard.run("roster", "apply")
    assert refused.code == 1, "a receiver that was cleared is not filled by the roster"
    assert "The roster waits at slip-gate" in refused.said
    assert "The roster waits until somebody approves" in yard.run("status").out

    restored = yard.run("snapshot", "restore", taken, "--settings", "--yes")
    assert restored.code == 0, restored.said
    assert "150 added" in restored.out
    assert "output 1 (gate) stays closed for 12 s" in restored.out
    assert yard.run("snapshot", "compare", taken).code == 0
    assert yard.run("snapshot", "approve", "slip-gate", "--roster").code == 0
    assert "nothing to do" in yard.run("roster", "apply").out
    yard.daemon.stop()
    assert block_sums(yard) == before


def test_a_reset_is_asked_for_on_the_board_alone(yard: Yard) -> None:
    """Not even an admin's token does it over the network."""
    secret = yard.daemon.post("/tokens", {"name": "desk", "scopes": ["admin"]}).json()["secret"]
    answer = httpx.post(
        f"{yard.daemon.address}/api/v1/receivers/slip-gate/reset",
        json={"name": "slip-gate"},
        headers={"Authorization": f"Bearer {secret}"},
    )
    assert (answer.status_code, answer.json()["type"]) == (403, "urn:gatepost:problem:board-only")
    assert len(yard.lines["quayside"].rights()) == 150


def test_the_replacement_after_lightning_is_one_command(yard: Yard) -> None:
    """Another board stands there: previewed, confirmed, filled and set; the roster does not come between.

    What the old one held last is a snapshot by itself, though none was taken since the last plan.
    """
    line = yard.lines["quayside"]
    assert line.tell("mode 2 momentary") == "ok"
    until(lambda: yard.daemon.get("/receivers/slip-gate/status")["outputs"][1]["mode"] == "momentary", "a mode")
    line.stop()
    start_line(yard, "FQ-0002", "another-memory")
    row = yard.daemon.wait_link("slip-gate", "wrong-receiver")
    assert "FQ-0002" in row["problem"]
    newest = yard.daemon.get("/snapshots", limit=1)["snapshots"][0]
    assert (newest["reason"], newest["serial"], newest["slots"]) == ("replaced", "FQ-0001", 150)
    taken = newest["id"]
    alone = yard.run("snapshot", "restore", taken, "--yes")
    assert alone.code == 1
    assert "--replacement" in alone.said or "Confirm" in alone.said or "confirm" in alone.said
    preview = yard.run("snapshot", "restore", taken, "--replacement", "--preview")
    assert preview.code == 0, preview.said
    assert "The new receiver FQ-0002 will be taken for the right one." in preview.out
    assert "First: Set output 2 (boat-hoist) to momentary at the board; it is timed now." in preview.out
    assert yard.lines["quayside"].rights() == {}
    done = yard.run("snapshot", "restore", taken, "--receiver", "slip-gate", "--replacement", "--yes")
    assert done.code == 0, done.said
    assert len(yard.lines["quayside"].rights()) == 150
    settings = yard.daemon.get("/receivers/slip-gate/settings")
    assert (settings["on_times_s"]["1"], settings["local_programming"]) == (12, False)
    row = yard.daemon.receiver("slip-gate")
    assert (row["identity"]["serial"], row["confirmed"], row["waiting"]["reason"]) == ("FQ-0002", True, "restore")


def asked_restore(yard: Yard, taken: str) -> httpx.Response | None:
    """The answer; None when the plan before is applied and has not yet given the receiver's turn back."""
    answer = yard.daemon.post("/receivers/slip-gate/restores", {"snapshot": taken})
    if answer.status_code == 409 and "plan-running" in answer.text:
        return None
    assert answer.status_code == 202, answer.text
    return answer


def start_restore(yard: Yard) -> str:
    """A snapshot of 150, 150 others in their places, and the restore under way."""
    taken = take(yard)
    yard.write_roster(*berths(150, first=48_300_001))
    assert yard.run("roster", "apply", "--approve").code == 0
    answer = until(lambda: asked_restore(yard, taken), "the receiver's turn")
    plan = answer.json()["id"]
    if answer.json()["state"] == "held":
        assert yard.daemon.post(f"/plans/{plan}/application").status_code == 202
    until(lambda: yard.daemon.get(f"/plans/{plan}/application")["done"] > 10, "a restore under way")
    return taken


def cut_power(yard: Yard) -> None:
    line = yard.lines["quayside"]
    assert line.tell("power off") == "ok"
    time.sleep(0.5)
    assert line.tell("power on") == "ok"


def pull_adapter(yard: Yard) -> None:
    assert yard.lines["quayside"].tell("fault adapter gone 1") == "ok"


def kill_daemon(yard: Yard) -> None:
    yard.daemon.kill()
    yard.daemon.start()


def kill_receiver(yard: Yard) -> None:
    yard.lines["quayside"].process.kill()
    yard.lines["quayside"].process.wait(10)
    start_line(yard, "FQ-0001")


@pytest.mark.parametrize("cut", [cut_power, pull_adapter, kill_daemon, kill_receiver])
def test_a_restore_cut_in_the_middle_ends_whole(yard: Yard, cut: Callable[[Yard], None]) -> None:
    """Whatever goes: at the end every transmitter of the snapshot is in it and none of the others."""
    taken = start_restore(yard)
    assert newest_plan(yard)["state"] == "applying"
    cut(yard)
    wait_applied(yard)
    assert set(yard.lines["quayside"].rights()) == {f"{48_200_001 + n:010d}" for n in range(150)}
    until(lambda: yard.run("snapshot", "compare", taken).code == 0, "a comparison that finds nothing", 20)
    assert yard.daemon.receiver("slip-gate")["waiting"]["snapshot"] == taken


def test_what_is_revoked_never_comes_back(yard: Yard) -> None:
    """By a restore of its own receiver, or of a file from elsewhere merged into it."""
    taken = take(yard)
    file = yard.folder / "slip-gate.json"
    assert yard.run("snapshot", "show", taken, "--out", file).code == 0
    assert yard.run("revoke", "0048200007", "--reason", "lost at the slip").code == 0
    restored = yard.run("snapshot", "restore", taken, "--yes")
    assert restored.code == 0, restored.said
    assert "(transmitter 0048200007) is revoked and stays out" in restored.out
    merged = yard.run("snapshot", "restore", file, "--receiver", "slip-gate", "--as", "merge", "--yes")
    assert merged.code == 0, merged.said
    assert "is revoked and stays out" in merged.out
    assert "0048200007" not in yard.lines["quayside"].rights()
    assert len(yard.lines["quayside"].rights()) == 149


def test_a_plan_can_be_rehearsed_on_a_stand_in(yard: Yard) -> None:
    """A virtual receiver from the exported file holds the same blocks, settings and marks its serial."""
    taken = take(yard)
    file = yard.folder / "export.json"
    assert yard.run("snapshot", "show", taken, "--out", file).code == 0
    jsonschema.validate(json.loads(file.read_text()), json.loads(SCHEMA.read_text()))
    stand_in = yard.line("rehearsal", "--from-snapshot", str(file))
    assert len(stand_in.rights()) == 150
    sums = memory_sums(yard.folder / "rehearsal")[2:66]
    yard.daemon.stop()
    assert sums == block_sums(yard)
    again = yard.run("virtual-receiver", "--link", yard.folder / "x", "--from-snapshot", yard.roster)
    assert again.code == 1
    assert "not a snapshot" in again.said
