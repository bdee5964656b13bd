"""Work in progress on a whole site: started and ended by commands, over a kill, with a webhook that sees the marks."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.integration.yard import Yard, berths, open_yard, until


@pytest.fixture
def yard() -> Iterator[Yard]:
    """A receiver with people in it, whose own buttons are locked."""
    with open_yard() as found:
        found.write_settings(baud=115200)
        found.write_roster(*berths(5))
        found.line("quayside", "--paced", "--baud", "115200", "--memory", str(found.folder / "memory"))
        daemon = found.start()
        daemon.wait_mirrored("slip-gate")
        assert found.run("roster", "apply").code == 0
        locked = found.run("settings", "set", "slip-gate", "--lock-local-programming")
        assert locked.code == 0, locked.said
        yield found


def test_a_visit_from_start_to_end(yard: Yard) -> None:
    """Unlocked, the roster waits, a kill in the middle, what was taught is listed, locked again, roster goes on."""
    line, daemon = yard.lines["quayside"], yard.daemon
    assert line.tell("board learn 1") == "refused board-locked"
    begun = yard.run("visit", "start", "--receiver", "slip-gate", "--minutes", "30", "--reason", "aerial", "--unlock")
    assert begun.code == 0, begun.said
    assert "unlocked" in begun.out
    yard.write_roster(*berths(6))
    waits = yard.run("roster", "apply")
    assert waits.code == 1, waits.said
    assert "Work is in progress" in waits.said
    daemon.kill()
    daemon.start()
    daemon.wait_link("slip-gate", "online")
    assert [each["state"] for each in yard.run("visit", "list", "--json").json["visits"]] == ["running"]
    assert yard.run("roster", "apply").code == 1
    assert line.tell("board learn 1") == "waiting"
    assert line.tell("press 0048299999 1") == "saved"
    until(
        lambda: [
            event for event in daemon.events() if event["type"].endswith("slot.changed") and "visit" in event["data"]
        ],
        "what was taught, marked as part of the visit",
    )
    gone = yard.run("revoke", "0048200002", "--reason", "lost")
    assert gone.code == 0, gone.said
    assert "0048200002" not in line.rights()
    ended = yard.run("visit", "end")
    assert ended.code == 0, ended.said
    assert "transmitter 0048299999 was added at the board" in ended.out
    assert "0048200002 is gone" in ended.out
    assert line.tell("board learn 1") == "refused board-locked"
    (event,) = [event for event in daemon.events() if event["type"].endswith("visit.ended")]
    assert event["data"]["still_unlocked"] == []
    assert yard.run("roster", "apply").code == 0
    assert "0048200006" in line.rights()
    (listed,) = yard.run("visit", "list").out.splitlines()
    assert "things changed: gatepost visit show " in listed
    shown = yard.run("visit", "show", listed.split()[0])
    assert "transmitter 0048299999 was added at the board" in shown.out
    again = yard.run("visit", "end")
    assert again.code == 1
    assert "There is nothing to end" in again.said
