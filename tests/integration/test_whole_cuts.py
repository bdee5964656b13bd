"""Cuts of every kind in the middle of an apply: the daemon killed, the receiver's power gone, the adapter pulled.

Afterwards the receiver holds exactly the roster, the journal has no gap and no double, and a listener that resumes by
`Last-Event-ID` (WHATWG HTML, 9.2.4) through httpx-sse, an independent client, has heard every event once and in order.
"""

from __future__ import annotations

import contextlib
import os
import socket
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import httpx
import pytest
from httpx_sse import connect_sse

from tests.integration.yard import Daemon, VirtualLine, Yard, berths, open_yard, until

COUNT = 250
BUSY = ("pending", "applying")


@pytest.fixture
def yard() -> Iterator[Yard]:
    """A paced line at 115200 baud with its memory in a file, and a roster of 250."""
    with open_yard() as yard:
        yard.line("quayside", "--paced", "--baud", "115200", "--memory", str(yard.folder / "memory"))
        yard.write_settings(baud=115200, listen=f"127.0.0.1:{_free_port()}")
        yard.write_roster(*berths(COUNT))
        daemon = yard.start()
        daemon.wait_mirrored("slip-gate")
        until(lambda: daemon.get("/roster")["transmitters"] == COUNT, "the first roster")
        yield yard


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as door:
        return int(door.getsockname()[1])


def _newest(daemon: Daemon) -> dict[str, Any]:
    found: dict[str, Any] = daemon.get("/plans", limit=1)["plans"][0]
    return found


def _wait_written(line: VirtualLine, slots: int) -> None:
    until(lambda: line.shown()["slots_used"] >= slots, f"{slots} slots written")


def _wait_end(daemon: Daemon) -> dict[str, Any]:
    return until(lambda: plan if (plan := _newest(daemon))["state"] not in BUSY else None, "the plan's end", 40)


def _prove(yard: Yard, line: VirtualLine) -> None:
    """The receiver holds the roster and nothing else, and one more apply writes nothing."""
    assert line.rights() == {f"{48_200_001 + n:010d}": {"1": [1]} for n in range(COUNT)}
    memory = line.memory()
    again = yard.run("roster", "apply", "--json")
    assert again.code == 0, again.said
    assert again.json[0]["changes"] == []
    assert line.memory() == memory


def _numbers(ids: list[str]) -> list[int]:
    epochs = {one.rpartition("-")[0] for one in ids}
    assert len(epochs) == 1, epochs
    return [int(one.rpartition("-")[2]) for one in ids]


@contextlib.contextmanager
def _taken(terminal: Path) -> Iterator[None]:
    """Hold this one and all free ones below it, so that the next one made is another: pts(4) gives the lowest."""
    held: list[int] = []

    def hold_next() -> bool:
        pair = os.openpty()
        made = int(Path(os.ttyname(pair[1])).name)
        if made <= int(terminal.name):
            held.extend(pair)
        else:  # some other program has ours, and may give it back at any time
            for descriptor in pair:
                os.close(descriptor)
        return made == int(terminal.name)

    try:
        until(hold_next, f"{terminal} in our own hands")
        yield
    finally:
        for descriptor in held:
            os.close(descriptor)


class Listener:
    """Follows the stream in a thread, over cuts, and keeps the ids that it hears."""

    def __init__(self, address: str, token: str, last: str) -> None:
        self.heard: list[str] = []
        self.connections = 0
        self._address, self._token, self._last = address, token, last
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run)

    def __enter__(self) -> Listener:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._thread.join(10)
        assert not self._thread.is_alive()

    def _run(self) -> None:
        with httpx.Client(base_url=self._address, timeout=httpx.Timeout(5, read=0.5)) as client:
            while not self._over.is_set():
                with contextlib.suppress(httpx.TransportError):
                    self._listen(client)
                self._over.wait(0.05)

    def _listen(self, client: httpx.Client) -> None:
        headers = {"Authorization": f"Bearer {self._token}", "Last-Event-ID": self._last}
        with connect_sse(client, "GET", "/api/v1/events/stream", headers=headers) as source:
            self.connections += 1
            for event in source.iter_sse():
                assert event.id == event.json()["id"]
                self.heard.append(event.id)
                self._last = event.id


def test_the_daemon_is_killed_in_the_middle_of_an_apply(yard: Yard) -> None:
    """Three times, at three moments; each restart takes the plan up by itself."""
    line, daemon = yard.lines["quayside"], yard.daemon
    token = yard.run("token", "add", "listener", "--scope", "view", "--json").json["secret"]
    first = daemon.events()[0]["id"]
    start = first.rpartition("-")[0] + "-0"
    with Listener(daemon.address, token, start) as listener:
        assert daemon.post("/plans", {"receiver": "slip-gate"}).status_code == 202
        for moment in (5, 90, 170):
            _wait_written(line, moment)
            daemon.kill()
            daemon.start()
        assert _wait_end(daemon)["state"] == "applied"
        _prove(yard, line)
        events = daemon.events()
        newest = events[-1]["id"]
        until(lambda: listener.heard and listener.heard[-1] == newest, "the newest event on the stream")
        heard = list(listener.heard)
    ids = [event["id"] for event in events]
    assert _numbers(ids) == list(range(1, len(ids) + 1))
    assert heard == ids
    assert listener.connections >= 4
    names = [event["type"].removeprefix("local.gatepost.") for event in events]
    assert names.count("gateway.started") == 4
    assert names.count("plan.applied") == 1
    assert "drift.found" not in names
    told = [slot for event in events if event["type"].endswith("slot.changed") for slot in event["data"]["slots"]]
    assert len(told) == len({str(slot) for slot in told}) >= COUNT


def test_the_receivers_power_is_cut_in_the_middle_of_a_write(yard: Yard) -> None:
    """It comes back after a second with half a frame's slots; the plan fails in words and the roster is owed to it."""
    line, daemon = yard.lines["quayside"], yard.daemon
    assert daemon.post("/plans", {"receiver": "slip-gate"}).status_code == 202
    _wait_written(line, 60)
    assert line.tell("fault power-cut 2 1") == "ok"
    until(lambda: line.shown()["boot_count"] == 2, "the receiver's restart")
    until(lambda: len(line.rights()) == COUNT, "the whole roster, by itself", 40)
    _wait_end(daemon)
    _prove(yard, line)
    names = [event["type"].removeprefix("local.gatepost.") for event in daemon.events()]
    assert "receiver.restarted" in names
    assert "drift.found" not in names


def test_the_adapter_is_pulled_in_the_middle_of_a_write(yard: Yard) -> None:
    """Seen as lost, back by itself; what is missing is written, and nothing twice."""
    line, daemon = yard.lines["quayside"], yard.daemon
    assert daemon.post("/plans", {"receiver": "slip-gate"}).status_code == 202
    _wait_written(line, 60)
    assert line.tell("fault adapter gone") == "ok"
    daemon.wait_link("slip-gate", "port-lost")
    status = yard.run("status")
    assert status.code == 3
    assert "its port is gone" in status.out
    assert line.tell("fault adapter back") == "ok"
    daemon.wait_link("slip-gate", "online")
    until(lambda: len(line.rights()) == COUNT, "the whole roster, by itself", 40)
    _wait_end(daemon)
    _prove(yard, line)
    names = [event["type"].removeprefix("local.gatepost.") for event in daemon.events()]
    assert (names.count("link.lost"), names.count("link.restored")) == (1, 1)
    assert line.shown("counters")["slot_writes"] <= COUNT + 6


def test_the_receiver_is_killed_and_comes_back_on_another_terminal(yard: Yard) -> None:
    """Its memory is as it was; the link leads elsewhere; the daemon follows the link and finishes the work."""
    line, daemon = yard.lines["quayside"], yard.daemon
    before = Path(line.port).resolve()
    assert daemon.post("/plans", {"receiver": "slip-gate"}).status_code == 202
    _wait_written(line, 60)
    line.process.kill()
    line.process.wait(10)
    line.port.unlink()
    line.control.unlink()
    until(lambda: not before.exists(), "the old terminal gone: the daemon has let go of it")
    with _taken(before):
        line.start()
    assert Path(line.port).resolve() != before
    until(lambda: len(line.rights()) == COUNT, "the whole roster, by itself", 40)
    _wait_end(daemon)
    _prove(yard, line)
