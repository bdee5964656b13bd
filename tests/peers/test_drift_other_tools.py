"""Another tool on the line of a running site: Debian's mbpoll (libmodbus) and pymodbus change what a receiver holds.

Addresses are those of docs/register-map.md, as literals. The receiver's own word (`show`) says what it holds.
"""

from __future__ import annotations

import struct
import subprocess
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from pymodbus.client import ModbusSerialClient

from tests.fakes.register_wire import record
from tests.integration.yard import VirtualLine, Yard, berths, open_yard, until

BERTH_1, BERTH_2, STRANGER = "0048200001", "0048200002", "0048209999"
_SLOT_WRITE_WINDOW, _FACTORY_RESET, _RESET_KEY = 0x0100, 0x0040, ("0x434C", "0x4541")


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


def _told(yard: Yard) -> list[dict[str, Any]]:
    return [event["data"] for event in yard.daemon.events() if event["type"] == "local.gatepost.drift.found"]


def _wait_open(yard: Yard, *serials: str) -> dict[str, dict[str, Any]]:
    def found() -> dict[str, dict[str, Any]] | None:
        items = {item["serial"]: item for item in yard.daemon.get("/drift")["drift"]}
        return items if set(items) == set(serials) else None

    if not serials:
        until(lambda: not yard.daemon.get("/drift")["drift"], "nothing open")
        return {}
    return until(found, f"open drift of {serials}")


def _with_mbpoll(yard: Yard, address: int, *words: str) -> None:
    command = ["mbpoll", "-m", "rtu", "-a", "1", "-0", "-b", "19200", "-P", "none", "-1", "-o", "3"]
    command += ["-r", str(address), "-t", "4:hex", str(_line(yard).port), *words]
    done = subprocess.run(command, capture_output=True, text=True, timeout=20, check=False)
    assert f"Written {len(words)} reference" in done.stdout, done.stdout + done.stderr


def _with_pymodbus(yard: Yard, *slots: bytes) -> None:
    frame = struct.pack(">I", _line(yard).revision()) + b"".join(slots)
    words = list(struct.unpack(f">{len(frame) // 2}H", frame))
    client = ModbusSerialClient(str(_line(yard).port), baudrate=19200, timeout=3, retries=1)
    assert client.connect()
    try:
        assert not client.write_registers(_SLOT_WRITE_WINDOW, words, device_id=1).isError()
    finally:
        client.close()  # type: ignore[no-untyped-call]


def test_another_tool_on_the_line_is_not_taken_for_us(yard: Yard, require_program: Callable[[str, str], str]) -> None:
    """It writes where we write, and the ring says `line` of both; ours is what a plan of ours meant, nothing else."""
    require_program("mbpoll", "mbpoll")
    wanted = _line(yard).rights()
    yard.daemon.stop()
    gone, swapped = (slot["slot"] for slot in _line(yard).shown("slots")[:2])
    _with_pymodbus(yard, record(gone, 0, outputs=bytes(8)), record(swapped, int(STRANGER), name=b"guest"))
    yard.daemon.start()
    found = _wait_open(yard, BERTH_1, BERTH_2, STRANGER)
    assert {serial: (item["kind"], item["origin"]) for serial, item in found.items()} == {
        BERTH_1: ("missing", "line"),
        BERTH_2: ("missing", "line"),
        STRANGER: ("extra", "line"),
    }
    assert len(_told(yard)) == 1
    assert yard.run("roster", "apply").code == 0
    assert _line(yard).rights() == wanted
    _wait_open(yard)

    yard.daemon.stop()
    _with_mbpoll(yard, _FACTORY_RESET, *_RESET_KEY)
    assert _line(yard).rights() == {}
    yard.daemon.start()
    until(lambda: _told(yard)[-1].get("cleared"), "a reset that was found")
    refused = yard.run("roster", "apply")
    assert refused.code == 1
    assert "gatepost snapshot approve slip-gate --roster" in refused.said
    assert _line(yard).rights() == {}
