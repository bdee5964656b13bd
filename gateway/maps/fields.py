"""One field of a block: bytes to a value and back.

Registers are big-endian (Modbus Application Protocol V1.1b3, section 4.2). A 32-bit value has its high word
first unless the map says `words = "low-first"`. In a bit table (coils, discrete inputs) places are bits, in
a register table they are registers.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TypeAlias

__all__ = ["Field", "FieldType", "Value"]

Value: TypeAlias = (
    int | bool | str | bytes | tuple[int, ...] | tuple[bool, ...] | tuple[str, ...] | tuple[frozenset[int], ...]
)
"""What a field holds; which one is said by its type."""


class FieldType(StrEnum):
    """How a field is written in its registers."""

    U16 = "u16"  # one register: int
    U32 = "u32"  # two registers: int
    U8 = "u8"  # half a register (`half`): int
    FLAG = "flag"  # one bit (`bit`, 0 the lowest) of a register: bool
    BITS = "bits"  # `count` bits from the lowest of one register (or of the bit table): tuple of bool
    CODE = "code"  # one register, or half of one when `half` is given: the name in table `codes`
    PACKED = "packed"  # `count` codes of `width` bits each in one register, the lowest first: tuple of names
    MASKS = "masks"  # `count` octets, high octet first; bit 0 stands for number 1: tuple of frozensets
    U16S = "u16s"  # `count` registers: tuple of int
    U32S = "u32s"  # `count` times two registers: tuple of int
    TEXT = "text"  # `registers` registers of UTF-8, padded with NUL: str
    BYTES = "bytes"  # `registers` registers as they are: bytes


@dataclass(frozen=True, slots=True)
class Field:
    """A field with its place. `start_bit` and `size_bits` count from the block's first bit.

    `of_bits` fields lie in a table of bits, whose octets carry the lowest number in their lowest bit (Application
    Protocol V1.1b3, section 6.1); their size is rounded up to whole octets.
    """

    name: str
    type: FieldType
    at: int
    start_bit: int
    size_bits: int
    count: int = 1
    bit: int = 0
    width: int = 0
    low_first: bool = False
    of_bits: bool = False
    codes: Mapping[int, str] = field(default_factory=dict)

    def decode(self, data: bytes) -> Value:
        """The value in a block's bytes. An unknown code reads as `code-N`; damaged UTF-8 as U+FFFD."""
        raw = data[self.start_bit // 8 : (self.start_bit + self.size_bits + 7) // 8]
        return _DECODE[self.type](self, raw)

    def encode(self, value: Value) -> int:
        """The field's bits as a number, its last bit lowest. Raises ValueError when the value doesn't fit."""
        number = _ENCODE[self.type](self, value)
        if not 0 <= number < 1 << self.size_bits:
            raise ValueError(f"{self.name}: {value!r} does not fit")
        return number

    def code_of(self, name: str) -> int:
        """The number of a named code. Raises ValueError when the map has none."""
        for number, known in self.codes.items():
            if known == name:
                return number
        raise ValueError(f"{self.name}: the map has no code {name!r}")

    def _name_of(self, code: int) -> str:
        return self.codes.get(code, f"code-{code}")


def _swap(raw: bytes, low_first: bool) -> bytes:
    return raw if not low_first else b"".join(raw[i + 2 : i + 4] + raw[i : i + 2] for i in range(0, len(raw), 4))


def _decode_int(spec: Field, raw: bytes) -> Value:
    return int.from_bytes(_swap(raw, spec.low_first and spec.type is FieldType.U32), "big")


def _decode_flag(spec: Field, raw: bytes) -> Value:
    return bool(raw[0] >> (7 - spec.start_bit % 8) & 1)


def _decode_bits(spec: Field, raw: bytes) -> Value:
    number = int.from_bytes(raw, "little" if spec.of_bits else "big")
    return tuple(bool(number >> n & 1) for n in range(spec.count))


def _decode_code(spec: Field, raw: bytes) -> Value:
    return spec._name_of(int.from_bytes(raw, "big"))


def _decode_packed(spec: Field, raw: bytes) -> Value:
    number, mask = int.from_bytes(raw, "big"), (1 << spec.width) - 1
    return tuple(spec._name_of(number >> n * spec.width & mask) for n in range(spec.count))


_MASKS = tuple(frozenset(bit + 1 for bit in range(8) if octet >> bit & 1) for octet in range(256))


def _decode_masks(spec: Field, raw: bytes) -> Value:
    return tuple(_MASKS[octet] for octet in raw)


def _decode_u16s(spec: Field, raw: bytes) -> Value:
    return tuple(int.from_bytes(raw[i : i + 2], "big") for i in range(0, len(raw), 2))


def _decode_u32s(spec: Field, raw: bytes) -> Value:
    plain = _swap(raw, spec.low_first)
    return tuple(int.from_bytes(plain[i : i + 4], "big") for i in range(0, len(plain), 4))


def _decode_text(spec: Field, raw: bytes) -> Value:
    return raw.split(b"\0", 1)[0].decode("utf-8", "replace")


_DECODE: dict[FieldType, Callable[[Field, bytes], Value]] = {
    FieldType.U16: _decode_int,
    FieldType.U32: _decode_int,
    FieldType.U8: _decode_int,
    FieldType.FLAG: _decode_flag,
    FieldType.BITS: _decode_bits,
    FieldType.CODE: _decode_code,
    FieldType.PACKED: _decode_packed,
    FieldType.MASKS: _decode_masks,
    FieldType.U16S: _decode_u16s,
    FieldType.U32S: _decode_u32s,
    FieldType.TEXT: _decode_text,
    FieldType.BYTES: lambda _, raw: raw,
}


def _sequence(spec: Field, value: Value) -> tuple[object, ...]:
    if not isinstance(value, tuple) or len(value) > spec.count:
        raise ValueError(f"{spec.name}: {value!r} is not a tuple of at most {spec.count}")
    return value


def _octets(spec: Field, raw: bytes) -> int:
    size = spec.size_bits // 8
    if len(raw) > size:
        raise ValueError(f"{spec.name}: {len(raw)} bytes are more than {size}")
    return int.from_bytes(raw.ljust(size, b"\0"), "big")


def _encode_int(spec: Field, value: Value) -> int:
    if not isinstance(value, int) or not 0 <= value < 1 << spec.size_bits:
        raise ValueError(f"{spec.name}: {value!r} does not fit")
    if spec.type is FieldType.U32:
        return int.from_bytes(_swap(value.to_bytes(4, "big"), spec.low_first), "big")
    return value


def _encode_bits(spec: Field, value: Value) -> int:
    number = sum(1 << n for n, on in enumerate(_sequence(spec, value)) if on)
    return int.from_bytes(number.to_bytes(spec.size_bits // 8, "little"), "big") if spec.of_bits else number


def _encode_code(spec: Field, value: Value) -> int:
    return spec.code_of(str(value))


def _encode_packed(spec: Field, value: Value) -> int:
    return sum(spec.code_of(str(name)) << n * spec.width for n, name in enumerate(_sequence(spec, value)))


def _encode_masks(spec: Field, value: Value) -> int:
    groups = _sequence(spec, value)
    octets = bytearray()
    for group in groups:
        if not isinstance(group, frozenset) or any(not 1 <= number <= 8 for number in group):
            raise ValueError(f"{spec.name}: {group!r} is not a frozenset of numbers 1 to 8")
        octets.append(sum(1 << number - 1 for number in group))
    return _octets(spec, bytes(octets))


def _encode_words(spec: Field, value: Value) -> int:
    size = 2 if spec.type is FieldType.U16S else 4
    try:
        raw = b"".join(int(str(number)).to_bytes(size, "big") for number in _sequence(spec, value))
    except (OverflowError, ValueError) as fault:
        raise ValueError(f"{spec.name}: {value!r} does not fit") from fault
    return _octets(spec, _swap(raw, spec.low_first and size == 4))


def _encode_text(spec: Field, value: Value) -> int:
    return _octets(spec, str(value).encode("utf-8"))


def _encode_bytes(spec: Field, value: Value) -> int:
    if isinstance(value, bytes):
        return _octets(spec, value)
    raise ValueError(f"{spec.name}: {value!r} is not bytes")


_ENCODE: dict[FieldType, Callable[[Field, Value], int]] = {
    FieldType.U16: _encode_int,
    FieldType.U32: _encode_int,
    FieldType.U8: _encode_int,
    FieldType.FLAG: lambda _, value: int(bool(value)),
    FieldType.BITS: _encode_bits,
    FieldType.CODE: _encode_code,
    FieldType.PACKED: _encode_packed,
    FieldType.MASKS: _encode_masks,
    FieldType.U16S: _encode_words,
    FieldType.U32S: _encode_words,
    FieldType.TEXT: _encode_text,
    FieldType.BYTES: _encode_bytes,
}
