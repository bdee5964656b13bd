"""Hands at the board of a receiver, and what a user then sees and decides: all by commands.

The virtual board is worked as an installer works it. The receiver's own word (`show`) says what it holds.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

import pytest

from tests.integration.yard import VirtualLine, Yard, berths, open_yard, until

BERTH_1, BERTH_2, BERTH_3, STRANGER = "0048200001", "0048200002", "0048200003", "0048209999"


@pytest.fixture
def yard() -> Iterator[Yard]:
    with open_yard() as yard:
        yard.line("quayside")
        yard.write_settings()
        yard.write_roster(*berths(6))
        yard.start().wait_mirrored("slip-gate")
        assert yard.run("roster", "apply").code == 0
        yield yard


def _line(yard: Yard) -> VirtualLine:
    return yard.lines["quayside"]


def _at_the_board(yard: Yard, order: str, *presses: str) -> None:
    assert _line(yard).tell(f"board {order}") == "waiting"
    for press in presses:
        answer = _line(yard).tell(f"press {press}")
    assert answer == "saved", answer


def _told(yard: Yard, name: str) -> list[dict[str, Any]]:
    return [event["data"] for event in yard.daemon.events() if event["type"] == f"local.gatepost.{name}"]


def _open(yard: Yard) -> dict[str, dict[str, Any]]:
    return {item["serial"]: item for item in yard.daemon.get("/drift")["drift"]}


def _wait_open(yard: Yard, *serials: str) -> dict[str, dict[str, Any]]:
    def found() -> dict[str, dict[str, Any]] | None:
        items = _open(yard)
        return items if set(items) == set(serials) else None

    if not serials:
        until(lambda: not _open(yard), "nothing open")
        return {}
    return until(found, f"open drift of {serials}")


def test_a_hand_at_the_board_from_found_to_decided(yard: Yard) -> None:
    """Added, changed and taken away: found by the poll, told apart, and none of it undone without a word."""
    line, wanted = _line(yard), _line(yard).rights()
    _at_the_board(yard, "learn 1", f"{STRANGER} 1")
    _at_the_board(yard, "learn 2", f"{BERTH_1} 2")
    _at_the_board(yard, "unlearn 1", f"{BERTH_2} 1")
    found = _wait_open(yard, STRANGER, BERTH_1, BERTH_2)
    assert {serial: (item["kind"], item["state"], item["origin"]) for serial, item in found.items()} == {
        STRANGER: ("extra", "going", "board"),
        BERTH_1: ("changed", "going", "board"),
        BERTH_2: ("missing", "stands", "board"),
    }
    listed = yard.run("drift", "list")
    assert listed.code == 1
    assert "Berth 2, transmitter 0048200002, was taken out at the board" in listed.out
    assert f"gatepost drift restore slip-gate {BERTH_2}" in listed.out

    assert yard.run("roster", "apply").code == 0
    assert line.rights() == {serial: rights for serial, rights in wanted.items() if serial != BERTH_2}
    _wait_open(yard, BERTH_2)
    preview = yard.run("roster", "preview")
    assert f"gatepost drift restore slip-gate {BERTH_2}" in preview.out
    yard.daemon.stop()
    yard.daemon.start()
    assert yard.run("roster", "apply").code == 0
    assert BERTH_2 not in line.rights()

    wrong = yard.run("drift", "adopt", "slip-gate", BERTH_2)
    assert wrong.code == 1
    assert "restore, revoke" in wrong.said
    restored = yard.run("drift", "restore", "slip-gate", BERTH_2)
    assert restored.code == 0, restored.said
    until(lambda: line.rights() == wanted, "what was taken is back")
    until(lambda: yard.run("drift", "list").code == 0, "nothing open")


def test_reported_adopted_dropped_and_revoked(yard: Yard) -> None:
    """With `report` nothing is written; adopted it waits for the roster, dropped it goes, revoked it stays away."""
    line, wanted = _line(yard), _line(yard).rights()
    yard.daemon.stop()
    yard.write_settings(receiver='drift = "report"')
    yard.daemon.start()
    other = "0048209998"
    for serial in (STRANGER, other):
        _at_the_board(yard, "learn 2", f"{serial} 1")
    _at_the_board(yard, "unlearn 1", f"{BERTH_3} 1")
    _wait_open(yard, STRANGER, other, BERTH_3)
    before = line.memory()
    assert yard.run("roster", "apply").code == 0
    assert line.memory() == before

    adopted = yard.run("drift", "adopt", "slip-gate", STRANGER)
    assert f"rights {'1:slip-gate/boat-hoist'}" in adopted.out.replace("roster: ", "rights ")
    assert yard.run("drift", "remove", "slip-gate", other).code == 0
    assert yard.run("drift", "revoke", "slip-gate", BERTH_3).code == 0
    until(lambda: other not in line.rights(), "what was dropped is gone")
    item = _wait_open(yard, STRANGER)[STRANGER]
    assert (item["state"], item["rights"]) == ("adopted", "1:slip-gate/boat-hoist")
    assert item["todo"]

    yard.write_roster(*berths(6), f"{STRANGER},Winter guest,two-button,berth-holders")
    assert yard.run("roster", "apply").code == 0
    guest = {STRANGER: {"1": [1]}}
    assert line.rights() == {s: r for s, r in wanted.items() if s != BERTH_3} | guest
    _wait_open(yard)


def test_a_reset_at_the_board_waits_for_somebody(yard: Yard) -> None:
    """An alarm, nothing written by the next run; the roster fills it again once somebody says so."""
    wanted = _line(yard).rights()
    _at_the_board(yard, "unlearn 1", f"{BERTH_1} 1")
    _wait_open(yard, BERTH_1)
    held = _line(yard).rights()
    assert _line(yard).tell("board reset") == "saved"
    kinds = ["board-reset", "drift-open"]
    until(lambda: sorted(c["condition"] for c in yard.daemon.get("/conditions")["conditions"]) == kinds, "an alarm")
    status = yard.run("status")
    assert "cleared by a reset that did not come from here" in status.out
    assert yard.run("roster", "apply").code == 1
    assert _line(yard).rights() == {}
    kept = yard.daemon.receiver("slip-gate")["waiting"]["snapshot"]
    assert f"gatepost snapshot restore {kept}" in status.out
    assert yard.run("snapshot", "restore", kept, "--settings", "--yes").code == 0
    assert _line(yard).rights() == held, "what it held when it was reset, not before the last plan"
    assert _line(yard).tell("board reset") == "saved"
    until(lambda: _line(yard).revision() == yard.daemon.receiver("slip-gate")["mirror_revision"], "the second reset")
    assert yard.run("snapshot", "approve", "slip-gate", "--roster").code == 0
    assert yard.run("roster", "apply").code == 0
    assert _line(yard).rights() == {serial: rights for serial, rights in wanted.items() if serial != BERTH_1}


def test_an_on_time_taught_with_the_buttons_is_told(yard: Yard) -> None:
    """`settings.changed` by the board, with before and after, without anybody asking for the settings."""
    before = yard.daemon.get("/receivers/slip-gate/settings")["on_times_s"]["1"]
    assert _line(yard).tell("board time 1") == "waiting"
    assert _line(yard).tell(f"press {BERTH_1} 1") == "heard"
    time.sleep(2)  # what is taught is the time between two presses
    assert _line(yard).tell(f"press {BERTH_1} 1") == "saved"
    told = until(lambda: _told(yard, "settings.changed"), "a changed on-time")
    assert (told[0]["origin"], told[0]["before"]["on_times_s"][0]) == ("board", before)
    after = yard.daemon.get("/receivers/slip-gate/settings")["on_times_s"]["1"]
    assert told[0]["after"]["on_times_s"][0] == after != before
    assert yard.run("drift", "list").code == 0
