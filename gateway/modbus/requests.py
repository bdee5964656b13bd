"""Requests of the master as values, and their bytes.

A request knows its PDU (function code and data, without address and CRC) and the beginning and length of its
normal answer, so that a frame is known to be whole at its last byte, with no silence to wait out.
Addresses are zero-based as on the wire. Limits and layouts: Modbus Application Protocol V1.1b3, sections
6.1-6.6, 6.11, 6.12 and 6.21. Nothing here knows of lines, time or receivers.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

__all__ = [
    "BitsRead",
    "ReadCoils",
    "ReadDeviceIdentification",
    "ReadDiscreteInputs",
    "ReadHoldingRegisters",
    "ReadInputRegisters",
    "RegistersRead",
    "Request",
    "WriteCoil",
    "WriteCoils",
    "WriteRegister",
    "WriteRegisters",
    "pack_bits",
    "unpack_bits",
]

MEI_DEVICE_IDENTIFICATION = 0x0E
IDENTIFICATION_HEAD = 7  # function, MEI type, code, conformity, more follows, next object, object count


def pack_bits(bits: tuple[bool, ...]) -> bytes:
    """Eight to a byte, the first in the lowest bit, unused bits zero."""
    value = sum(1 << place for place, bit in enumerate(bits) if bit)
    return value.to_bytes((len(bits) + 7) // 8, "little")


def unpack_bits(data: bytes, count: int) -> tuple[bool, ...]:
    """The first `count` bits of `data`, as `pack_bits` lays them out."""
    value = int.from_bytes(data, "little")
    return tuple(bool(value >> place & 1) for place in range(count))


def _check_range(address: int, count: int, limit: int, what: str) -> None:
    if not 1 <= count <= limit:
        raise ValueError(f"{count} {what} in one frame: the standard allows 1 to {limit}")
    if not 0 <= address <= 0x10000 - count:
        raise ValueError(f"address {address} with {count} {what} lies outside 0 to 65535")


def _words(function: int, first: int, second: int) -> bytes:
    return bytes((function, first >> 8, first & 0xFF, second >> 8, second & 0xFF))


@dataclass(frozen=True, slots=True)
class _Read:
    """A read of `count` things from `address` on."""

    function: ClassVar[int]
    limit: ClassVar[int]
    what: ClassVar[str]

    address: int
    count: int

    def __post_init__(self) -> None:
        _check_range(self.address, self.count, self.limit, self.what)

    def encode(self) -> bytes:
        """The PDU: function, address, count."""
        return _words(self.function, self.address, self.count)


@dataclass(frozen=True, slots=True)
class BitsRead(_Read):
    """What functions 1 and 2 have in common: 1 to 2000 bits."""

    limit: ClassVar[int] = 2000
    what: ClassVar[str] = "bits"

    @property
    def answer_head(self) -> bytes:
        """The bytes that every normal answer begins with: function, byte count."""
        return bytes((self.function, (self.count + 7) // 8))

    @property
    def answer_length(self) -> int:
        """Bytes of the normal answer's PDU."""
        return 2 + (self.count + 7) // 8


@dataclass(frozen=True, slots=True)
class RegistersRead(_Read):
    """What functions 3 and 4 have in common: 1 to 125 registers."""

    limit: ClassVar[int] = 125
    what: ClassVar[str] = "registers"

    @property
    def answer_head(self) -> bytes:
        """The bytes that every normal answer begins with: function, byte count."""
        return bytes((self.function, 2 * self.count))

    @property
    def answer_length(self) -> int:
        """Bytes of the normal answer's PDU."""
        return 2 + 2 * self.count


@dataclass(frozen=True, slots=True)
class ReadCoils(BitsRead):
    """Function 1."""

    function: ClassVar[int] = 0x01


@dataclass(frozen=True, slots=True)
class ReadDiscreteInputs(BitsRead):
    """Function 2."""

    function: ClassVar[int] = 0x02


@dataclass(frozen=True, slots=True)
class ReadHoldingRegisters(RegistersRead):
    """Function 3."""

    function: ClassVar[int] = 0x03


@dataclass(frozen=True, slots=True)
class ReadInputRegisters(RegistersRead):
    """Function 4."""

    function: ClassVar[int] = 0x04


@dataclass(frozen=True, slots=True)
class WriteCoil:
    """Function 5: FF00 is on, 0000 is off; the answer repeats the request."""

    function: ClassVar[int] = 0x05

    address: int
    value: bool

    def __post_init__(self) -> None:
        _check_range(self.address, 1, 1, "coils")

    def encode(self) -> bytes:
        """The PDU: function, address, FF00 or 0000."""
        return _words(self.function, self.address, 0xFF00 if self.value else 0)

    @property
    def answer_head(self) -> bytes:
        """The whole normal answer."""
        return self.encode()

    @property
    def answer_length(self) -> int:
        """Bytes of the normal answer's PDU."""
        return 5


@dataclass(frozen=True, slots=True)
class WriteRegister:
    """Function 6: one register, 0 to 65535; the answer repeats the request."""

    function: ClassVar[int] = 0x06

    address: int
    value: int

    def __post_init__(self) -> None:
        _check_range(self.address, 1, 1, "registers")
        if not 0 <= self.value <= 0xFFFF:
            raise ValueError(f"{self.value} does not fit a register (0 to 65535)")

    def encode(self) -> bytes:
        """The PDU: function, address, value."""
        return _words(self.function, self.address, self.value)

    @property
    def answer_head(self) -> bytes:
        """The whole normal answer."""
        return self.encode()

    @property
    def answer_length(self) -> int:
        """Bytes of the normal answer's PDU."""
        return 5


@dataclass(frozen=True, slots=True)
class WriteCoils:
    """Function 15: 1 to 1968 coils from `address` on."""

    function: ClassVar[int] = 0x0F

    address: int
    values: tuple[bool, ...]

    def __post_init__(self) -> None:
        _check_range(self.address, len(self.values), 1968, "coils")

    def encode(self) -> bytes:
        """The PDU: function, address, count, byte count, bits."""
        data = pack_bits(self.values)
        return _words(self.function, self.address, len(self.values)) + bytes((len(data),)) + data

    @property
    def answer_head(self) -> bytes:
        """The whole normal answer: function, address, count."""
        return _words(self.function, self.address, len(self.values))

    @property
    def answer_length(self) -> int:
        """Bytes of the normal answer's PDU."""
        return 5


@dataclass(frozen=True, slots=True)
class WriteRegisters:
    """Function 16: 1 to 123 registers from `address` on; `data` is their bytes, high byte first."""

    function: ClassVar[int] = 0x10

    address: int
    data: bytes

    def __post_init__(self) -> None:
        if len(self.data) % 2:
            raise ValueError(f"{len(self.data)} bytes are no whole number of registers")
        _check_range(self.address, self.count, 123, "registers")

    @property
    def count(self) -> int:
        """Number of registers."""
        return len(self.data) // 2

    def encode(self) -> bytes:
        """The PDU: function, address, count, byte count, data."""
        return _words(self.function, self.address, self.count) + bytes((len(self.data),)) + self.data

    @property
    def answer_head(self) -> bytes:
        """The whole normal answer: function, address, count."""
        return _words(self.function, self.address, self.count)

    @property
    def answer_length(self) -> int:
        """Bytes of the normal answer's PDU."""
        return 5


@dataclass(frozen=True, slots=True)
class ReadDeviceIdentification:
    """Function 43, MEI type 14. `code`: 1 basic, 2 regular, 3 extended (a stream), 4 one object."""

    function: ClassVar[int] = 0x2B

    code: int = 1
    object_id: int = 0

    def __post_init__(self) -> None:
        if self.code not in (1, 2, 3, 4):
            raise ValueError(f"device identification code {self.code}: the standard knows 1 to 4")
        if not 0 <= self.object_id <= 0xFF:
            raise ValueError(f"object {self.object_id} lies outside 0 to 255")

    def encode(self) -> bytes:
        """The PDU: function, MEI type, code, object."""
        return bytes((self.function, MEI_DEVICE_IDENTIFICATION, self.code, self.object_id))

    @property
    def answer_head(self) -> bytes:
        """The bytes that every normal answer begins with: function, MEI type, code."""
        return bytes((self.function, MEI_DEVICE_IDENTIFICATION, self.code))

    @property
    def answer_length(self) -> None:
        """Not known before the answer's objects have come; see `answer_pdu_length`."""
        return


Request = (
    ReadCoils
    | ReadDiscreteInputs
    | ReadHoldingRegisters
    | ReadInputRegisters
    | WriteCoil
    | WriteRegister
    | WriteCoils
    | WriteRegisters
    | ReadDeviceIdentification
)
