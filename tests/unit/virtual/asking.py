"""Requests to a virtual receiver as bytes of the standard, and records of its map packed by hand.

Addresses and layouts in these tests are the literals of docs/register-map.md; function codes and answers those of
the Modbus Application Protocol V1.1b3, section 6.
"""

from __future__ import annotations

import struct

from gateway.maps import load_map
from gateway.virtual.keeping import Keeper
from gateway.virtual.receiver import VirtualReceiver
from gateway.virtual.requests import ReceiverUnit

REFERENCE = load_map("reference")


def record(
    number: int, serial: int, outputs: tuple[int, ...] = (1,), name: bytes = b"", kind: int = 0, flags: int = 0
) -> bytes:
    """A slot's 40 bytes; `outputs` are the octets of position 1 and on."""
    return struct.pack(">HIHH8s16s6s", number, serial, kind, flags, bytes(outputs), name, b"")


def window(seen: int, *records: bytes) -> bytes:
    """The data of a write to the slot window."""
    return seen.to_bytes(4, "big") + b"".join(records)


class Desk:
    """A receiver under power at `now` 100.0 s, and a hand on its wire."""

    def __init__(self, *, keeper: Keeper | None = None, slots: int = 64, outputs: int = 4) -> None:
        self.receiver = VirtualReceiver(
            REFERENCE, serial="FQ-0001", outputs=outputs, inputs=4, slots=slots, keeper=keeper
        )
        self.unit = ReceiverUnit(self.receiver)
        self.now = 100.0
        self.receiver.power_on(self.now)

    def ask(self, pdu: bytes) -> bytes:
        """The answer's PDU; empty when there is none."""
        reply = self.unit.answer(pdu, self.now)
        return reply.pdu if reply else b""

    def read(self, function: int, address: int, count: int) -> bytes:
        """The register bytes of an answer to function 3 or 4. Fails on an exception."""
        answer = self.ask(struct.pack(">BHH", function, address, count))
        assert answer[:2] == bytes((function, 2 * count)), answer.hex()
        return answer[2:]

    def word(self, address: int) -> int:
        """One input register."""
        return int.from_bytes(self.read(4, address, 1), "big")

    def long(self, address: int) -> int:
        """Two input registers."""
        return int.from_bytes(self.read(4, address, 2), "big")

    def refused(self, function: int, address: int, count: int) -> int:
        """The exception code of a read."""
        answer = self.ask(struct.pack(">BHH", function, address, count))
        assert answer[0] == function | 0x80, answer.hex()
        return answer[1]

    def write(self, address: int, data: bytes) -> int:
        """Function 16; 0 when done, else the exception code, -1 for silence."""
        count = len(data) // 2
        answer = self.ask(struct.pack(">BHHB", 16, address, count, len(data)) + data)
        if not answer:
            return -1
        if answer[0] == 0x90:
            return answer[1]
        assert answer == struct.pack(">BHH", 16, address, count)
        return 0

    def write_one(self, address: int, value: int) -> int:
        """Function 6; 0 when done, else the exception code."""
        request = struct.pack(">BHH", 6, address, value)
        answer = self.ask(request)
        if answer[0] == 0x86:
            return answer[1]
        assert answer == request
        return 0

    @property
    def revision(self) -> int:
        return self.long(0x0005)

    @property
    def refusal(self) -> int:
        return self.word(0x0012)

    def events(self, after: int = 0) -> list[tuple[int, ...]]:
        """Ring entries: event, origin, serial, slot, position, index, value, enrolling."""
        found = []
        for number in range(after + 1, self.long(0x0007) + 1):
            raw = self.read(4, 0x1000 + 12 * ((number - 1) % 512), 12)
            own, boot, _, *rest = struct.unpack(">IHIBBIHBBHH", raw)
            assert (own, boot) == (number, self.long(0x0001))
            found.append(tuple(rest))
        return found
