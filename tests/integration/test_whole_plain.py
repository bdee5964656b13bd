"""A plain relay and input board beside a receiver, and a map of one's own: described by a file, with no code."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from pymodbus.client import ModbusSerialClient

from tests.integration.yard import Yard, berths, open_yard, until

MAPS = Path(__file__).parents[2] / "gateway" / "maps"


@pytest.fixture
def yard() -> Iterator[Yard]:
    with open_yard() as yard:
        yard.write_roster(*berths(2))
        yield yard


def test_a_plain_board_on_a_second_line(yard: Yard) -> None:
    """Status and changes of inputs and outputs; no slots, no roster, each refusal in words."""
    slip, board = yard.line("quayside"), yard.line("workshop", "--map", "plain-io")
    yard.write_settings(
        more=f'\n[lines.workshop]\nport = "{board.port}"\n\n[receivers.board]\nline = "workshop"\nmap = "plain-io"\n'
        'outputs = { 1 = "shutter" }\ninputs = { 2 = "shutter closed" }\n'
    )
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    daemon.wait_link("board", "online")
    assert "slots" not in daemon.receiver("board")["capabilities"]
    assert (board.tell("input 2 violated"), board.tell("output 1 closed")) == ("ok", "ok")

    def told() -> set[tuple[str, int]]:
        return {
            (event["type"].removeprefix("local.gatepost."), event["data"].get("input") or event["data"].get("output"))
            for event in daemon.events()
            if event.get("subject") == "board"
        }

    until(lambda: {("input.changed", 2), ("output.changed", 1)} <= told(), "both changes told")
    status = yard.run("status")
    assert status.code == 0, status.said
    assert "board answers; outputs: shutter on; inputs: shutter closed violated." in status.out
    applied, preview, settings, check = yard.run_all(
        ["roster", "apply", "--json"],
        ["roster", "preview", "--receiver", "board"],
        ["settings", "show", "board"],
        ["check", "--config", yard.config],
    )
    assert applied.code == 0
    assert [plan["receiver"] for plan in applied.json] == ["slip-gate"]
    assert len(slip.rights()) == 2
    assert preview.code == 1
    assert "board has no slots" in preview.err
    assert settings.code == 0
    assert "output 1 is called shutter" in settings.out
    assert "board has no settings" in settings.out
    assert check.code == 0, check.said
    daemon.stop()
    assert yard.check().code == 0


def test_a_map_file_with_other_addresses(yard: Yard) -> None:
    """A copy of the reference map with every block moved: the driver and the virtual receiver follow the file."""
    bench = yard.folder / "bench.toml"
    text = (MAPS / "reference.toml").read_text()
    moved = re.sub(r"^address = (\S+)", lambda found: f"address = {int(found.group(1), 0) + 0x0200}", text, flags=re.M)
    assert moved != text
    bench.write_text(moved.replace('name = "reference"', 'name = "bench"'))
    line = yard.line("quayside", "--map", str(bench))
    yard.write_settings(receiver=f'map = "{bench}"')
    with ModbusSerialClient(str(line.port), baudrate=19200, timeout=2, retries=1) as client:
        assert client.read_input_registers(0, count=20, device_id=1).exception_code == 2
        assert client.read_input_registers(0x0200, count=20, device_id=1).registers[0] == 1
    yard.start().wait_mirrored("slip-gate")
    assert yard.daemon.receiver("slip-gate")["identity"]["map_name"] == "bench"
    assert yard.run("roster", "apply").code == 0
    assert sorted(line.rights()) == ["0048200001", "0048200002"]
    assert yard.run("settings", "set", "slip-gate", "--on-time", "1=9").code == 0
    assert line.shown()["on_times_s"][0] == 9
