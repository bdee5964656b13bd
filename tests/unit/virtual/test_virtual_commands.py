"""The lines of text that drive virtual receivers, and the page that lists them."""

from __future__ import annotations

import json
import re
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from gateway.maps import load_map
from gateway.virtual.commands import VERBS, Commands, Member
from gateway.virtual.fault_commands import FAULTS
from gateway.virtual.faults import WireFaults
from gateway.virtual.plain import PlainUnit
from gateway.virtual.showing import SUBJECTS
from gateway.virtual.station import Station
from tests.fakes.clock import FakeClock
from tests.fakes.virtual_wire import some_unit

PAGE = Path(__file__).parents[3] / "docs" / "virtual-receiver.md"


class Stage:
    """Two receivers and a relay board under one set of commands."""

    def __init__(self) -> None:
        self.clock = FakeClock()
        self.gate, self.barrier = some_unit(self.clock), some_unit(self.clock, serial="FQ-0002")
        self.relays = PlainUnit(load_map("plain-io"))
        members = [
            Member(1, "slip-gate", self.gate),
            Member(2, "car-park", self.barrier),
            Member(7, "", self.relays),
        ]
        self.station = Station(self.clock, {}, lambda _: None, pace=None, faults=WireFaults())
        self.adapter: list[float | str | None] = []
        self.quits = 0
        self.commands = Commands(self.clock, members, station=self.station, adapter=self, quit_=self._quit)

    def pull(self, for_s: float | None) -> None:
        self.adapter.append(for_s)

    def put_back(self) -> None:
        self.adapter.append("back")

    def _quit(self) -> None:
        self.quits += 1

    def run(self, line: str) -> str:
        return self.commands.run(line)


@pytest.fixture
async def stage() -> AsyncIterator[Stage]:
    stage = Stage()
    yield stage
    stage.station.close()


async def test_the_example_of_the_page_is_true(stage: Stage) -> None:
    """Learn, press, show: word for word as docs/virtual-receiver.md prints it."""
    text = PAGE.read_text("utf-8")
    example = re.search(r"```\n\$ gatepost virtual-receiver[^\n]*\n(.*?)```", text, re.S)
    assert example
    lines = example.group(1).splitlines()
    for command, answer in zip(lines[::2], lines[1::2], strict=True):
        assert stage.run(command) == answer


async def test_the_page_lists_every_command_fault_and_subject() -> None:
    """And none that does not exist."""
    text = PAGE.read_text("utf-8")
    verbs = set(re.findall(r"^\| `([a-z]+)", text, re.M))
    assert verbs - {"fault"} == set(VERBS) - {"fault"}
    faults = set(re.findall(r"^\| `fault ([a-z-]+)", text, re.M))
    assert faults == {*FAULTS, "adapter", "none"}
    shown = re.search(r"^\| `show` with (.+?) \|", text, re.M)
    assert shown
    assert set(re.findall(r"`(\w+)`", shown.group(1))) == set(SUBJECTS)


async def test_receivers_are_named_by_address_or_name(stage: Stage) -> None:
    """Without a name the first is meant; a wrong one is answered with the right ones."""
    assert stage.run("@2 input 1 violated") == "ok"
    assert stage.run("@car-park input 2 violated") == "ok"
    assert stage.run("input 3 violated") == "ok"
    assert stage.barrier.receiver.inputs == [True, True, False, False]
    assert stage.gate.receiver.inputs == [False, False, True, False]
    assert stage.run("@9 input 1 normal") == "error: there is no receiver @9; write @slip-gate, @car-park, @7"


@pytest.mark.parametrize(
    ("line", "remedy"),
    [
        ("press 0048231907", "write: press SERIAL POSITION"),
        ("press 48-1 1", "48-1 is no serial; write up to ten digits"),
        ("press 0 1", "0 is no serial"),
        ("press 48 9", "9 is no number from 1 to 8"),
        ("input 5 normal", "5 is no number from 1 to 4"),
        ("input 1 closed", "closed is none of normal, violated"),
        ("mode 1 pulsed", "pulsed is none of latching, timed, momentary"),
        ("board forget 1", "forget is none of learn, unlearn, time"),
        ("release 5 1", "that button is not held"),
        ("power away", "away is none of off, on"),
        ("show all", r"write: show \[status"),
        ("fault rain", "there is no such fault; write one of noise"),
        ("fault", "there is no such fault"),
        ("fault noise 2", "2 is no number from 0 to 1"),
        ("fault noise nan", "nan is no number"),
        ("fault cut", r"write: fault cut BYTES \[COUNT\]"),
        ("fault adapter away", "write: fault adapter gone"),
        ("open sesame", "there is no command open; help lists all"),
        ("@1", "there is no command behind"),
    ],
)
async def test_what_cannot_be_done_says_what_to_write(stage: Stage, line: str, remedy: str) -> None:
    """One line that begins with `error:`; nothing changes."""
    before = stage.run("show")
    answer = stage.run(line)
    assert re.match(f"error: .*{remedy}", answer), answer
    assert stage.run("show") == before


async def test_without_power_there_is_nothing_to_press(stage: Stage) -> None:
    """Power off and on again: one start more; contacts can be moved meanwhile."""
    assert stage.run("power off") == "ok"
    assert stage.run("press 5 1") == "error: the power is off; write: power on"
    assert stage.run("input 1 violated") == "ok"
    assert json.loads(stage.run("show"))["power"] is False
    assert stage.run("power on") == "ok"
    shown = json.loads(stage.run("show status"))
    assert (shown["boot_count"], shown["inputs"][0]) == (2, "violated")


async def test_faults_are_ordered_and_ended(stage: Stage) -> None:
    """Counts are 1 unless given; `none` ends all and puts the adapter back."""
    for line in (
        "fault drop 2", "fault drop-every 5", "fault cut 7", "fault late 1.5 3", "fault silence on",
        "fault exception 4", "fault slow-write 2", "fault power-cut 3 10", "fault noise 0.01", "fault echo on",
        "fault adapter gone", "fault adapter gone 2.5",
    ):  # fmt: skip
        assert stage.run(line) == "ok", line
    faults = stage.gate.faults
    assert (faults.drop_next, faults.drop_every, faults.cut_at, faults.cut_next) == (2, 5, 7, 1)
    assert (faults.late_s, faults.late_next, faults.silent) == (1.5, 3, True)
    assert (faults.exception_code, faults.exception_next, faults.slow_write_s) == (4, 1, 2.0)
    assert (faults.power_cut_after, faults.power_cut_s) == (3, 10.0)
    assert (stage.station.faults.noise, stage.station.faults.echo) == (0.01, True)
    assert stage.run("fault none") == "ok"
    assert stage.adapter == [None, 2.5, "back"]
    assert (faults.silent, faults.power_cut_after, stage.station.faults.noise) == (False, None, 0.0)
    assert not any((faults.drop_next, faults.drop_every, faults.cut_next, faults.late_next, faults.exception_next))


async def test_show_tells_outputs_events_and_counters(stage: Stage) -> None:
    """JSON in one line each."""
    stage.run("mode 2 momentary")
    stage.run("board learn 2")
    stage.run("press 48231907 1")
    await stage.clock.advance(1)
    stage.run("hold 48231907 1")
    assert json.loads(stage.run("show outputs"))[1] == {
        "output": 2, "closed": True, "mode": "momentary", "on_time_s": 5,
    }  # fmt: skip
    assert stage.run("release 48231907 1") == "ok"
    await stage.clock.advance(0.3)
    newest = json.loads(stage.run("show events"))[-1]
    assert (newest["event"], newest["index"], newest["value"], newest["uptime"]) == ("output", 2, 0, 13)
    assert json.loads(stage.run("show counters"))["slot_writes"] == 1


async def test_a_relay_board_has_contacts_relays_and_power(stage: Stage) -> None:
    """And nothing of a radio receiver."""
    assert stage.run("@7 input 8 violated") == "ok"
    assert stage.run("@7 output 1 closed") == "ok"
    assert json.loads(stage.run("@7 show")) == {
        "power": True, "inputs": [False] * 7 + [True], "outputs": [True] + [False] * 7,
    }  # fmt: skip
    assert stage.run("@7 press 5 1").startswith("error: a relay and input board has no press")
    for request, answer in (
        ("0200000008", "020180"), ("0100000008", "010101"), ("0100000009", "8102"), ("050001ff00", "050001ff00"),
        ("0f0000000801fe", "0f00000008"), ("0100000008", "0101fe"), ("050008ff00", "8502"), ("0400000001", "8401"),
    ):  # fmt: skip
        reply = stage.relays.answer(bytes.fromhex(request), 0.0)
        assert reply is not None
        assert reply.pdu.hex() == answer
    stage.run("@7 power off")
    assert stage.relays.answer(bytes.fromhex("0100000008"), 0.0) is None


async def test_quit_and_comments(stage: Stage) -> None:
    """Comments and empty lines are answered with nothing."""
    assert stage.run("") == stage.run("   # the slip gate") == ""
    assert stage.run("quit # for today") == "ok"
    assert stage.quits == 1
    assert stage.run("help").startswith("commands: press, hold")
