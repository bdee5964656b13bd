"""Debian's mbpoll (libmodbus) reads and writes the virtual receiver, with nothing but the literals of the page.

The addresses, codes and rules come from docs/register-map.md through tests/fakes/register_page.py, which asks
nothing of the program; so a map file and a receiver that agree in an error are found out.
"""

from __future__ import annotations

import re
import subprocess
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from tests.fakes.register_page import Page
from tests.fakes.virtual_process import VirtualProcess, virtual_process

PAGE = Page.read()
INPUT, HOLDING = "3:hex", "4:hex"
EXCEPTIONS = {2: "Illegal data address", 3: "Illegal data value", 4: "Slave device or server failure", 6: "busy"}


class Mbpoll:
    """One call of mbpoll for each request."""

    def __init__(self, program: str, receiver: VirtualProcess) -> None:
        self._program = program
        self.receiver = receiver

    def call(self, table: str, address: int, *more: str) -> str:
        """What it printed."""
        command = [self._program, "-m", "rtu", "-a", "1", "-0", "-b", "19200", "-P", "none", "-1", "-o", "2"]
        command += ["-r", str(address), "-t", table, str(self.receiver.port)]
        if more and more[0] == "-c":
            command[-1:-1] = more
        else:
            command += more
        done = subprocess.run(command, capture_output=True, text=True, timeout=20, check=False)
        return done.stdout + done.stderr

    def read(self, table: str, address: int, count: int) -> list[int]:
        """Registers."""
        printed = self.call(table, address, "-c", str(count))
        words = re.findall(r"^\[(\d+)\]:\s+0x([0-9A-F]{4})", printed, re.M)
        assert [int(place) for place, _ in words] == list(range(address, address + count)), printed
        return [int(word, 16) for _, word in words]

    def write(self, address: int, words: list[int]) -> None:
        """Function 6 for one register, 16 for several."""
        printed = self.call(HOLDING, address, *(f"0x{word:04X}" for word in words))
        assert f"Written {len(words)} reference" in printed, printed

    def refused(self, code: int, table: str, address: int, *more: str) -> None:
        """The request is answered with an exception of this code, in libmodbus' words."""
        printed = self.call(table, address, *more)
        assert EXCEPTIONS[code] in printed, printed


@pytest.fixture
def mbpoll(require_program: Callable[[str, str], str], tmp_path: Path) -> Iterator[Mbpoll]:
    program = require_program("mbpoll", "mbpoll")
    with virtual_process(tmp_path / "slip-gate") as receiver:
        yield Mbpoll(program, receiver)


def _words(data: bytes) -> list[int]:
    return [int.from_bytes(data[place : place + 2], "big") for place in range(0, len(data), 2)]


def test_status_and_identity(mbpoll: Mbpoll) -> None:
    """Fields lie where the page says; a contact and a press show up in the next poll."""
    status = PAGE.address("status")
    assert mbpoll.receiver.tell("input 3 violated") == "ok"
    assert mbpoll.receiver.tell("board learn 2") == "waiting"
    assert mbpoll.receiver.tell("press 0048231907 1") == "saved"
    words = mbpoll.read(INPUT, status, int(PAGE.block("status")["registers"]))
    assert words[PAGE.place("Status", "map_version") - status] == 1
    assert words[PAGE.place("Status", "inputs") - status] == 0b0100
    assert words[PAGE.place("Status", "revision") - status + 1] == 2
    assert words[PAGE.place("Status", "newest_event") - status + 1] == 4
    serial = mbpoll.read(INPUT, PAGE.place("Identity", "serial"), 8)
    assert b"".join(word.to_bytes(2, "big") for word in serial).rstrip(b"\0") == b"VR8-000001"
    assert mbpoll.read(INPUT, PAGE.place("Identity", "slots"), 1) == [1024]


def test_slots_through_the_window(mbpoll: Mbpoll) -> None:
    """Written as the page says, read back, and in the block's CRC."""
    slots, window = PAGE.address("slots"), PAGE.address("slot write window")
    record = [0] * 20
    record[PAGE.place("Slots", "number")] = 7
    record[PAGE.place("Slots", "serial") : PAGE.place("Slots", "serial") + 2] = [48231907 >> 16, 48231907 & 0xFFFF]
    record[PAGE.place("Slots", "outputs")] = 0x0102  # position 1 works output 1, position 2 output 2
    name = PAGE.place("Slots", "name")
    record[name : name + 4] = _words(b"Berth 12")
    mbpoll.write(window, [0, 1, *record])
    assert mbpoll.read(INPUT, slots + 20 * 6, 20) == record
    crcs = PAGE.place("Block CRCs", "crcs")
    high, low = mbpoll.read(INPUT, crcs, 2)
    raw = b"".join(word.to_bytes(2, "big") for word in record)
    assert high << 16 | low == zlib.crc32(bytes(6 * 40) + raw + bytes(25 * 40))
    mbpoll.refused(4, HOLDING, window, *(str(word) for word in [0, 1, *record]))
    refusal = PAGE.place("Status", "last_refusal")
    assert mbpoll.read(INPUT, refusal, 1) == [PAGE.code("refusal", "slot-changed")]


def test_exceptions(mbpoll: Mbpoll) -> None:
    """02 for registers that aren't there or can't be read, 03 for parts of a record, 04 while locked, 06 in a wait."""
    window, unlock = PAGE.address("slot write window"), PAGE.address("unlock")
    mbpoll.refused(2, INPUT, 0x0900, "-c", "1")
    mbpoll.refused(2, HOLDING, unlock, "-c", "4")
    mbpoll.refused(3, HOLDING, window, *["0"] * 12)
    mbpoll.refused(3, HOLDING, PAGE.place("Settings", "on_times_s"), "3601")
    mbpoll.write(PAGE.address("link password"), _words(b"quay\0\0\0\0"))
    mbpoll.write(PAGE.address("lock"), [1])
    mbpoll.refused(4, INPUT, PAGE.address("slots"), "-c", "20")
    mbpoll.refused(3, HOLDING, unlock, *map(str, _words(b"gull\0\0\0\0")))
    mbpoll.refused(6, HOLDING, unlock, *map(str, _words(b"quay\0\0\0\0")))
    assert mbpoll.read(INPUT, PAGE.place("Status", "last_refusal"), 1) == [PAGE.code("refusal", "password-wait")]
