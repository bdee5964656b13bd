"""A site's life end to end, as processes: first sync, second sync, revocation, kills, cuts, the demo."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator

import httpx
import pytest
from httpx_sse import connect_sse

from tests.integration.yard import Yard, berths, open_yard, until


@pytest.fixture
def yard() -> Iterator[Yard]:
    """A yard with one receiver on a fast, paced line."""
    with open_yard() as found:
        found.write_settings(baud=115200)
        found.write_roster(*berths(60))
        found.line("quayside", "--paced", "--baud", "115200", "--memory", str(found.folder / "memory"))
        yield found


def test_first_day(yard: Yard) -> None:
    """Nothing is written before somebody asks; then all of it, proven; asked again, nothing."""
    line = yard.lines["quayside"]
    empty = line.memory()
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    preview = yard.run("roster", "preview", "--json")
    assert preview.code == 0, preview.said
    assert preview.json[0]["added"] == 60
    asked = line.shown("counters")["requests"]
    until(lambda: line.shown("counters")["requests"] >= asked + 3, "some polls more")
    assert line.memory() == empty
    assert yard.run("roster", "apply").code == 0
    assert len(line.rights()) == 60
    after = line.memory()
    again = yard.run("roster", "apply")
    assert again.code == 0, again.said
    assert "nothing to do" in again.out
    assert line.memory() == after
    names = [event["type"].removeprefix("local.gatepost.") for event in daemon.events()]
    assert names.index("snapshot.taken") < names.index("plan.applied")


def test_many_removals_wait_for_approval(yard: Yard) -> None:
    """Half of the transmitters gone from the file: held, shown in words, and written once approved."""
    line = yard.lines["quayside"]
    yard.start().wait_mirrored("slip-gate")
    assert yard.run("roster", "apply").code == 0
    yard.write_roster(*berths(30))
    held = yard.run("roster", "apply")
    assert held.code == 1, held.said
    assert "held" in held.out.lower()
    assert len(line.rights()) == 60
    approved = yard.run("roster", "apply", "--approve")
    assert approved.code == 0, approved.said
    assert len(line.rights()) == 30


def test_a_revoked_transmitter_is_gone_and_stays_gone(yard: Yard) -> None:
    """Revoked while the roster still has it: gone at once, and no later sync and no restart brings it back."""
    line, serial = yard.lines["quayside"], "0048200007"
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    assert yard.run("roster", "apply").code == 0
    assert serial in line.rights()
    done = yard.run("revoke", serial, "--reason", "lost on the pontoon")
    assert done.code == 0, done.said
    assert "gone, proven" in done.out
    assert serial not in line.rights()
    daemon.kill()
    yard.start().wait_mirrored("slip-gate")
    assert yard.run("roster", "apply").code == 0
    assert serial not in line.rights()
    assert len(line.rights()) == 59


@pytest.mark.parametrize("after_s", [0.05, 0.3, 0.6])
def test_a_killed_daemon_ends_at_the_roster(yard: Yard, after_s: float) -> None:
    """SIGKILL in the middle of a plan: the next start carries on, and the journal has no gap and no double."""
    line = yard.lines["quayside"]
    yard.write_roster(*berths(200))
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    assert daemon.post("/roster/fetches").status_code == 200
    assert daemon.post("/plans", {"receiver": "slip-gate"}).status_code == 202
    time.sleep(after_s)
    daemon.kill()
    daemon = yard.start()
    until(lambda: len(line.rights()) == 200, "all of the roster in the memory")
    until(lambda: daemon.get("/plans")["plans"][0]["state"] == "applied", "a plan that is applied")
    numbers = [int(event["id"].rpartition("-")[2]) for event in daemon.events()]
    assert numbers == list(range(1, len(numbers) + 1))


def test_a_power_cut_of_the_receiver_in_a_plan(yard: Yard) -> None:
    """The receiver loses power while it is written: the plan goes on by itself when it is back."""
    line = yard.lines["quayside"]
    yard.write_roster(*berths(200))
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    daemon.post("/roster/fetches")
    daemon.post("/plans", {"receiver": "slip-gate"})
    until(lambda: len(line.rights()) > 20, "the first writes")
    line.tell("power off")
    daemon.wait_link("slip-gate", "silent")
    line.tell("power on")
    until(lambda: len(line.rights()) == 200, "all of the roster in the memory", 40)
    until(lambda: daemon.get("/plans")["plans"][0]["state"] == "applied", "a plan that is applied", 40)


def test_a_stream_resumes_over_a_killed_daemon(yard: Yard) -> None:
    """An independent event-stream client (httpx-sse) goes on by Last-Event-ID: nothing lost, nothing doubled."""
    line = yard.lines["quayside"]
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    start = daemon.get("/gateway")["journal"]["newest"]
    for state in ("violated", "normal"):
        for number in (1, 2, 3):
            line.tell(f"input {number} {state}")
    seen = _changes(yard, start, 6)
    daemon.kill()
    yard.start().wait_mirrored("slip-gate")
    line.tell("input 4 violated")
    line.tell("input 4 normal")
    seen += _changes(yard, seen[-1][0], 2)
    assert [violated for _, violated in seen] == [True] * 3 + [False] * 3 + [True, False]
    numbers = [int(name.rpartition("-")[2]) for name, _ in seen]
    assert numbers == sorted(set(numbers))


def _changes(yard: Yard, after: str, count: int) -> list[tuple[str, bool]]:
    found: list[tuple[str, bool]] = []
    transport = httpx.HTTPTransport(uds=str(yard.socket))
    with (
        httpx.Client(transport=transport, timeout=20) as client,
        connect_sse(client, "GET", "http://localhost/api/v1/events/stream", headers={"Last-Event-ID": after}) as stream,
    ):
        for event in stream.iter_sse():
            document = json.loads(event.data)
            if document["type"].endswith("input.changed"):
                found.append((event.id, document["data"]["violated"]))
            if len(found) == count:
                break
    return found


def test_an_adapter_that_goes_and_comes_back(yard: Yard) -> None:
    """The adapter is pulled and put back under another name behind the same link: lost, restored, polled again."""
    line = yard.lines["quayside"]
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    line.tell("fault adapter gone")
    lost = daemon.wait_link("slip-gate", "port-lost")
    assert lost["remedy"]
    line.tell("fault adapter back")
    daemon.wait_link("slip-gate", "online")


def test_a_plain_board_beside_a_receiver(yard: Yard) -> None:
    """A relay and input board with nothing but a map: status and events, and no roster for it."""
    board = yard.line("board", "--map", "plain-io")
    more = (
        f'\n[lines.shed]\nport = "{yard.folder}/board"\n'
        '[receivers.shed]\nline = "shed"\nmap = "plain-io"\ninputs = { 3 = "shed door" }\n'
    )
    yard.write_settings(baud=115200, more=more)
    daemon = yard.start()
    daemon.wait_link("shed", "online")
    assert daemon.receiver("shed")["capabilities"] == []
    board.tell("input 3 violated")
    told = until(
        lambda: [e for e in daemon.events() if e.get("subject") == "shed" and e["type"].endswith("input.changed")],
        "an event of the board",
    )
    assert told[0]["data"] | {"late": None} == {"input": 3, "name": "shed door", "violated": True, "late": None}
    refused = yard.run("roster", "preview", "--receiver", "shed")
    assert refused.code == 1, refused.said
    assert yard.run("roster", "apply").code == 0


def test_settings_and_password_are_changed_and_read_back(yard: Yard) -> None:
    """An on-time and the lock of local programming are changed with before and after; out of range is refused."""
    line = yard.lines["quayside"]
    yard.start().wait_mirrored("slip-gate")
    done = yard.run("settings", "set", "slip-gate", "--on-time", "1=12", "--lock-local-programming")
    assert done.code == 0, done.said
    assert "output 1 (gate) stays closed for 12 s" in done.out
    before = line.revision()
    wrong = yard.run("settings", "set", "slip-gate", "--on-time", "1=9999")
    assert wrong.code == 1, wrong.said
    assert "3600" in wrong.said
    assert line.revision() == before
