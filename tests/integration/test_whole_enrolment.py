"""Enrolment on a whole site: the command listens, buttons are pressed at the receiver, the row works at once.

The receiver is the virtual one as a process of its own; presses come over its radio, what it holds is its own word.
"""

from __future__ import annotations

import re
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any

import pytest

from tests.integration.yard import Done, Yard, berths, open_yard, until

HEADER = "serial,holder,kind,group,rights,sites,valid_from,valid_until,note"


@pytest.fixture(scope="module")
def yard() -> Iterator[Yard]:
    """Four berths in one receiver, brought there by the roster. Every test has serials of its own and leaves no row."""
    with open_yard() as found:
        found.write_settings()
        found.write_roster(*berths(4))
        found.line("quayside")
        found.start().wait_mirrored("slip-gate")
        assert found.run("roster", "apply").code == 0
        yield found


def press(yard: Yard, serial: str) -> None:
    """One press. The radio needs 0.3 s of silence before it, or it is the same button held down."""
    time.sleep(0.35)
    assert yard.lines["quayside"].tell(f"press {serial} 1") == "ok"


def press_twice(yard: Yard, serial: str) -> None:
    """Two presses, the second once the first is seen as heard."""
    press(yard, serial)
    until(lambda: newest(yard)["state"] == "heard", "a first press")
    press(yard, serial)
    until(lambda: serial in certain(yard), f"{serial} confirmed")


def newest(yard: Yard) -> dict[str, Any]:
    listed = yard.daemon.get("/receivers/slip-gate/enrolments")["enrolments"]
    return listed[0] if listed else {"state": "", "confirmed": []}


def certain(yard: Yard) -> list[str]:
    return [each["serial"] for each in newest(yard)["confirmed"]]


def overridden(yard: Yard) -> set[str]:
    return {each["serial"] for each in yard.daemon.get("/overrides")["overrides"]}


def enrolling(yard: Yard, pool: ThreadPoolExecutor, *arguments: str) -> Future[Done]:
    """The command, under way; the receiver listens when this returns."""
    running = pool.submit(yard.run, "enrol", "slip-gate", *arguments)
    until(lambda: newest(yard)["state"] == "listening" or running.done(), "a listening receiver")
    return running


def receiver_listens(yard: Yard) -> bool:
    return bool(yard.daemon.get("/receivers/slip-gate/status")["enrolment"] == "listening")


def order_of(text: str, parts: Sequence[str]) -> bool:
    return re.search(".*".join(map(re.escape, parts)), text, re.DOTALL) is not None


def test_two_presses_a_row_and_at_work_at_once_until_the_roster_has_it(yard: Yard) -> None:
    """Each step in words; the row is one that the roster takes as it is."""
    new = "0048231950"
    line = yard.lines["quayside"]
    with ThreadPoolExecutor(1) as pool:
        running = enrolling(yard, pool, "--holder", "Berth 40", "--group", "berth-holders", "--in-force")
        press_twice(yard, new)
        done = running.result()
    assert done.code == 0, done.said
    row = f"{new},Berth 40,,berth-holders,,,,,"
    assert order_of(done.out, ["go on working", "Listening.", f"Heard transmitter {new}", "Confirmed", HEADER, row])
    assert "1 added" in done.out
    assert line.rights()[new] == {"1": [1]}
    assert row in yard.run("overrides").out
    ours = [e["data"] for e in yard.daemon.events() if e["data"].get("enrolment") == newest(yard)["id"]]
    states = [data["state"] for data in ours]
    assert states == ["listening", "heard", "confirmed", "completed"]

    assert yard.run("roster", "apply").code == 0
    assert new in line.rights(), "the roster leaves it alone until it has it"
    yard.daemon.kill()
    yard.daemon.start()
    yard.daemon.wait_mirrored("slip-gate")
    assert yard.run("roster", "apply").code == 0
    assert new in line.rights(), "it outlives a power cut"

    header, *rows = yard.roster.read_text().splitlines()
    full = [f"{line},,,,," for line in rows]
    yard.roster.write_text("\n".join([f"{header},rights,sites,valid_from,valid_until,note", *full, row]) + "\n")
    applied = yard.run("roster", "apply")
    assert applied.code == 0, applied.said
    until(lambda: new not in overridden(yard), "an override that is over; those of other tests stay")
    yard.write_roster(*berths(4))
    assert yard.run("roster", "apply").code == 0
    assert new not in line.rights()


def test_two_transmitters_at_once_and_none(yard: Yard) -> None:
    """Two pressed: nothing is taken. Nobody presses: it ends by itself, in time."""
    one, other = "0048231960", "0048231961"
    line = yard.lines["quayside"]
    with ThreadPoolExecutor(1) as pool:
        running = enrolling(yard, pool, "--holder", "Berth 40", "--group", "berth-holders", "--in-force")
        assert line.tell(f"press {one} 1") == "ok"
        assert line.tell(f"press {other} 1") == "ok"
        done = running.result()
    assert done.code == 1
    assert "Two transmitters were pressed" in done.out
    assert newest(yard)["state"] == "conflict"
    until(lambda: not receiver_listens(yard), "a receiver that no longer listens")
    silent = yard.run("enrol", "slip-gate", "--seconds", "2")
    assert silent.code == 1
    assert "has stopped listening; nothing was confirmed" in silent.out, silent.said
    assert not {one, other} & set(line.rights())


def test_typed_pressed_known_and_copied(yard: Yard) -> None:
    """A typed serial needs no press; typed and pressed only its own; a known one is named and not made twice."""
    new, other = "0048231970", "0048231971"
    typed = yard.run(
        "enrol", "slip-gate", "--serial", "48231970", "--holder", "Berth 40", "--like", "Berth 2", "--json"
    )
    assert typed.code == 0, typed.said
    assert typed.json["completion"]["rows"] == [f"{new},Berth 40,two-button,,1:slip-gate/gate,,,,"]
    assert new not in yard.lines["quayside"].rights(), "a row is no right"
    with ThreadPoolExecutor(1) as pool:
        running = enrolling(yard, pool, "--serial", new, "--press")
        press(yard, other)
        assert running.result().code == 1
        assert f"Expected transmitter {new}, heard transmitter {other}" in newest(yard)["words"]
        known = berths(1)[0].split(",")[0]
        running = enrolling(yard, pool, "--serial", known, "--press", "--holder", "Berth 40", "--like", "Berth 2")
        press(yard, known)
        done = running.result()
    assert done.code == 1
    assert "which Berth 1 has" in done.out
    assert "The roster has transmitter" in done.err


def test_several_in_a_row_are_written_at_once(yard: Yard) -> None:
    """Finished after the second, for two holders are named; one plan brings both."""
    one, other = "0048231980", "0048231981"
    with ThreadPoolExecutor(1) as pool:
        arguments = ("--several", "--holder", "Crew one", "--holder", "Crew two", "--group", "hoist-crew", "--in-force")
        running = enrolling(yard, pool, *arguments, "--json")
        for serial in (one, other):
            until(lambda: newest(yard)["state"] == "listening", "a new window")
            press_twice(yard, serial)
        done = running.result()
    assert done.code == 0, done.said
    (plan,) = done.json["plans"]
    assert (plan["reason"], plan["state"], plan["added"]) == ("enrolment", "applied", 2)
    rights = yard.lines["quayside"].rights()
    assert rights[one] == rights[other] == {"1": [1], "2": [2]}


def test_one_at_a_time_and_cancelled(yard: Yard) -> None:
    """A second one is refused while the first listens; whoever cancels leaves no receiver listening."""
    path = "/receivers/slip-gate/enrolments"
    first = yard.daemon.post(path, {"way": "two-presses"})
    assert first.status_code == 201, first.text
    second = yard.daemon.post(path, {"way": "several"})
    assert (second.status_code, second.json()["type"].rpartition(":")[2]) == (409, "enrolment-running")
    gone = yard.daemon.client.delete(first.headers["Location"].removeprefix("/api/v1"))
    assert gone.json()["state"] == "cancelled"
    until(lambda: not receiver_listens(yard), "a receiver that no longer listens")


def test_a_gateway_that_restarts_meanwhile_says_what_has_become_of_it(yard: Yard) -> None:
    """The command waits for it, and tells that the enrolment is over and what to do; the list shows the same."""
    with ThreadPoolExecutor(1) as pool:
        running = enrolling(yard, pool, "--holder", "Berth 40", "--group", "berth-holders", "--in-force")
        press(yard, "0048231995")
        until(lambda: newest(yard)["state"] == "heard", "a first press")
        yard.daemon.kill()
        yard.daemon.start()
        done = running.result()
    assert done.code == 1, done.said
    assert order_of(
        done.out, ["Listening.", "The gateway was restarted while it listened.", "Start the enrolment again"]
    )
    assert newest(yard)["state"] == "failed"
    assert "0048231995" not in yard.lines["quayside"].rights()
    yard.daemon.wait_mirrored("slip-gate")


def test_what_is_revoked_stays_out_by_this_way_too(yard: Yard) -> None:
    """The row is made, the right is not, and it is said."""
    new = "0048231990"
    assert yard.run("revoke", new, "--reason", "found in the street").code == 0
    done = yard.run(
        "enrol", "slip-gate", "--serial", new, "--holder", "Berth 40", "--group", "berth-holders", "--in-force"
    )
    assert done.code == 1
    assert "is revoked and stays out" in done.out
    assert new not in yard.lines["quayside"].rights()


def test_a_gateway_that_keeps_the_roster_itself_takes_the_row() -> None:
    """No central file: added and at work at once, with no override left over; the roster's next run changes nothing."""
    with open_yard() as own:
        own.write_settings(roster='source = "local"')
        line = own.line("quayside")
        own.start().wait_mirrored("slip-gate")
        arguments = ("--holder", "Berth 40", "--rights", "1:slip-gate/gate", "--in-force", "--add")
        done = own.run("enrol", "slip-gate", "--serial", "48231950", *arguments)
        assert done.code == 0, done.said
        assert "In the roster now:" in done.out
        assert line.rights() == {"0048231950": {"1": [1]}}
        assert own.daemon.get("/overrides")["overrides"] == []
        revision = line.revision()
        assert own.run("roster", "apply").code == 0
        assert line.revision() == revision
