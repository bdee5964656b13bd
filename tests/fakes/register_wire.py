"""A unit behind a `gateway.receivers.Wire`, in memory: registers, the lock of the reference map, faults to order.

Addresses and rules of the reference receiver stand here as literals (docs/register-map.md), so that a driver that
reads the map wrongly is found out. `plain` gives a unit without any rule, for maps of other shapes. Every
request is kept in `asked` (as sent, also when it fails). `fail` lets a request to come be lost before or after
it took effect.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass

from gateway.domain.urgency import Urgency
from gateway.errors import GatepostError, NoAnswer, ReceiverException
from gateway.modbus import (
    Answer,
    BitsAnswer,
    BitsRead,
    ExceptionCode,
    IdentificationAnswer,
    ReadDeviceIdentification,
    ReadInputRegisters,
    RegistersAnswer,
    RegistersRead,
    Request,
    WriteAnswer,
    WriteManyAnswer,
    WriteRegister,
    WriteRegisters,
)

__all__ = ["FakeUnit", "FakeWire", "RefusedRequest", "record"]

REASONS = {"none": 0, "locked": 1, "password-wrong": 2, "password-wait": 3, "slot-changed": 4, "memory-busy": 8}


class RefusedRequest(Exception):
    """The unit refuses: a Modbus exception code, and the reason that its status then shows."""

    def __init__(self, exception: int, reason: str = "") -> None:
        super().__init__(reason)
        self.exception, self.reason = exception, reason


def record(
    number: int,
    serial: int,
    kind: int = 0,
    flags: int = 0,
    outputs: bytes = b"\1" + bytes(7),
    name: bytes = b"",
    opaque: bytes = b"",
) -> bytes:
    """A slot of the reference map, packed independently: number, serial, kind, flags, 8 octets, name, 6 octets."""
    return struct.pack(">HIHH8s16s6s", number, serial, kind, flags, outputs, name, opaque)


class FakeUnit:
    """Registers of the input and holding tables, and bits of coils and discrete inputs."""

    def __init__(self, *, plain: bool = False) -> None:
        self.plain = plain
        self.input = bytearray(0x20000)
        self.holding = bytearray(0x20000)
        self.bits: dict[int, list[bool]] = {1: [False] * 64, 2: [False] * 64}
        self.objects: dict[int, bytes] = {}
        self.password = b""
        self.unlocked = False
        self.waits = 0
        self.changed_at: dict[int, int] = {}
        self.on_read: Callable[[Request], None] = lambda _: None
        if not plain:
            self._power_on()

    # --- what a test sets ---

    def set_words(self, address: int, *words: int) -> None:
        """Input registers."""
        self.input[2 * address : 2 * (address + len(words))] = struct.pack(f">{len(words)}H", *words)

    def set_long(self, address: int, value: int) -> None:
        self.input[2 * address : 2 * address + 4] = struct.pack(">I", value)

    def put_slot(self, raw: bytes, at: int = 0x4000) -> None:
        """A slot record at its place, and the CRC of its block of 32 (empty slots count as zeros)."""
        number = int.from_bytes(raw[:2], "big")
        place = 2 * at + (number - 1) * 40
        self.input[place : place + 40] = raw
        first = (number - 1) // 32 * 32
        whole = bytearray(self.input[2 * at + first * 40 : 2 * at + (first + 32) * 40])
        for start in range(0, len(whole), 40):
            if not any(whole[start + 2 : start + 40]):
                whole[start : start + 2] = b"\0\0"
        self.set_long(0x102 + (number - 1) // 32 * 2, zlib.crc32(whole))

    def put_event(self, number: int, boot: int, event: int, origin: int, *, ring: int = 512, serial: int = 0) -> None:
        """A ring entry: number, boot, uptime 12.5 s, kind and origin, serial; the rest zero."""
        raw = struct.pack(">IHIBBIHBBHH", number, boot & 0xFFFF, 125, event, origin, serial, 0, 0, 0, 0, 0)
        place = 2 * 0x1000 + (number - 1) % ring * 24
        self.input[place : place + 24] = raw

    def set_revision(self, revision: int) -> None:
        self.set_long(5, revision)
        self.set_long(0x100, revision)
        self.set_long(0x142, revision)

    @property
    def revision(self) -> int:
        return int.from_bytes(self.input[10:14], "big")

    # --- what the wire asks ---

    def answer(self, request: Request) -> Answer:
        """Raises RefusedRequest."""
        if isinstance(request, BitsRead):
            return BitsAnswer(request.function, tuple(self.bits[request.function][request.address :][: request.count]))
        if isinstance(request, ReadDeviceIdentification):
            return IdentificationAnswer(1, 1, False, 0, tuple(self.objects.items()))
        if isinstance(request, RegistersRead):
            self._read_allowed(request)
            self.on_read(request)
            table = self.input if isinstance(request, ReadInputRegisters) else self.holding
            return RegistersAnswer(
                request.function, bytes(table[2 * request.address : 2 * (request.address + request.count)])
            )
        assert isinstance(request, WriteRegister | WriteRegisters)
        data = request.value.to_bytes(2, "big") if isinstance(request, WriteRegister) else request.data
        if self.plain:
            self.holding[2 * request.address : 2 * request.address + len(data)] = data
        else:
            self._write(request.address, data)
        if isinstance(request, WriteRegister):
            return WriteAnswer(request.function, request.address, request.value)
        return WriteManyAnswer(request.function, request.address, request.count)

    def show_reason(self, reason: str) -> None:
        """The status' last refusal."""
        if reason:
            self.set_words(18, REASONS[reason])

    def _power_on(self) -> None:
        self.set_words(0, 1, 0, 7)  # map version 1, boot count 7
        self.set_revision(100)
        self.set_words(0x40 + 32, 4, 3, 1024, 8, 1, 3600, 16, 32, 512)
        self.input[0x80:0x8A] = b"FQ-0000042"
        self.input[0x90:0x97] = b"Unnamed"
        self.input[0xA8:0xB0] = b"Receiver"
        self.input[0xB8:0xBB] = b"2.1"
        for number in range(1, 1025):
            place = 2 * 0x4000 + (number - 1) * 40
            self.input[place : place + 2] = number.to_bytes(2, "big")
        for block in range(32):
            self.set_long(0x102 + 2 * block, zlib.crc32(bytes(32 * 40)))
        self.holding[0:10] = struct.pack(">5H", 5, 5, 5, 5, 0)

    def lock_with(self, password: bytes) -> None:
        """Give it a link password, and lock it; its status shows both."""
        self.password, self.unlocked = password, False
        self._show_lock()

    def _show_lock(self) -> None:
        self.input[28:30] = struct.pack(">H", bool(self.password))
        self.set_words(15, 60 if self.password and self.unlocked else 0)

    def _guard(self) -> None:
        if self.password and not self.unlocked:
            raise RefusedRequest(ExceptionCode.DEVICE_FAILURE, "locked")

    def _read_allowed(self, request: RegistersRead) -> None:
        is_open = isinstance(request, ReadInputRegisters) and request.address < 0x6C
        if not self.plain and not is_open:
            self._guard()

    def _write(self, address: int, data: bytes) -> None:
        if address == 0x20:
            self._unlock(data.rstrip(b"\0"))
        elif address == 0x30:
            self.unlocked = False
        else:
            self._guard()
            if address == 0x28:
                self.password, self.unlocked = data.rstrip(b"\0"), True
            elif address == 0x100:
                self._write_slots(data)
            else:
                self.holding[2 * address : 2 * address + len(data)] = data
        self._show_lock()

    def _unlock(self, offered: bytes) -> None:
        if self.waits:
            self.waits -= 1
            raise RefusedRequest(ExceptionCode.DEVICE_BUSY, "password-wait")
        if self.password and offered != self.password:
            raise RefusedRequest(ExceptionCode.ILLEGAL_DATA_VALUE, "password-wrong")
        self.unlocked = True

    def _write_slots(self, data: bytes) -> None:
        seen, body = int.from_bytes(data[:4], "big"), data[4:]
        records = [body[place : place + 40] for place in range(0, len(body), 40)]
        numbers = [int.from_bytes(raw[:2], "big") for raw in records]
        if any(len(raw) != 40 for raw in records) or numbers != sorted(set(numbers)):
            raise RefusedRequest(ExceptionCode.ILLEGAL_DATA_VALUE)
        if any(self.changed_at.get(number, 0) > seen for number in numbers):
            raise RefusedRequest(ExceptionCode.DEVICE_FAILURE, "slot-changed")
        self.set_revision(self.revision + 1)
        for raw in records:
            self.put_slot(raw)
            self.changed_at[int.from_bytes(raw[:2], "big")] = self.revision


@dataclass(slots=True)
class _Fault:
    error: GatepostError
    skip: int
    after: bool


class FakeWire:
    """`Wire` and `HeldWire` with one unit at one address."""

    def __init__(self, unit: FakeUnit, *, address: int = 1, registers: int = 125) -> None:
        self.unit = unit
        self.address = address
        self.registers = registers
        self.asked: list[Request] = []
        self.urgencies: list[Urgency] = []
        self.once_only: list[Request] = []
        self.probes: tuple[Request, Request] | None = None
        self._faults: list[_Fault] = []

    def fail(self, error: GatepostError | None = None, *, skip: int = 0, after: bool = False) -> None:
        """Let the request after `skip` others be lost; with `after` its effect stays."""
        silence = NoAnswer("The unit did not answer.", remedy="Check its power.")
        self._faults.append(_Fault(error or silence, skip, after))

    def no_faults(self) -> None:
        """Forget the faults that were ordered and did not come."""
        self._faults.clear()

    async def transact(
        self,
        address: int,
        request: Request,
        *,
        urgency: Urgency = Urgency.BULK,
        answer_time_s: float,
        tries: int | None = None,
        repeat_safe: bool = True,
    ) -> Answer:
        assert address == self.address
        assert answer_time_s > 0
        self.asked.append(request)
        self.urgencies.append(urgency)
        if not repeat_safe:
            self.once_only.append(request)
        fault = self._due()
        if fault is not None and not fault.after:
            raise fault.error
        try:
            answer = self.unit.answer(request)
        except RefusedRequest as refused:
            self.unit.show_reason(refused.reason)
            raise ReceiverException(
                "The unit refused.", function=request.function, exception=refused.exception
            ) from refused
        if fault is not None:
            raise fault.error
        return answer

    @asynccontextmanager
    async def hold(self, urgency: Urgency) -> AsyncIterator[FakeWire]:
        yield self

    def registers_per_frame(self, *, overhead_bytes: int = 0) -> int:
        return min(self.registers, 125 - overhead_bytes // 2)

    def set_probe(self, address: int, requests: tuple[Request, Request], answer_time_s: float) -> None:
        self.probes = requests

    def count(self, kind: type, address: int | None = None) -> int:
        """How many requests of a kind (to an address) were sent."""
        return sum(
            1
            for request in self.asked
            if isinstance(request, kind) and (address is None or getattr(request, "address", None) == address)
        )

    def _due(self) -> _Fault | None:
        for fault in self._faults:
            if not fault.skip:
                self._faults.remove(fault)
                return fault
            fault.skip -= 1
        return None
