"""A transmitter: its serial and its kind.

A serial is an unsigned 32-bit number, written for people as ten decimal digits with leading zeros. How a maker
prints it comes from the map (`SerialForm`). A kind says which positions a transmitter has: single buttons `1`
to `8`, or two pressed together as a position of their own, written `1+2`. A position's place in the kind's list
(1 to 8) is its number in the receiver's memory.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

__all__ = [
    "BUILT_IN_KINDS",
    "MAX_POSITIONS",
    "MAX_SERIAL",
    "POSITION_LABEL",
    "Kind",
    "SerialForm",
    "mask_serial",
    "write_serial",
]

MAX_SERIAL = 0xFFFF_FFFF
MAX_POSITIONS = 8
POSITION_LABEL = re.compile(r"[1-8](\+[1-8])?")


@dataclass(frozen=True, slots=True)
class SerialForm:
    """How a map writes serials: base 10 or 16, and how many digits."""

    base: int = 10
    digits: int = 10

    def write(self, serial: int) -> str:
        """The serial as printed on the transmitter."""
        return f"{serial:0{self.digits}d}" if self.base == 10 else f"{serial:0{self.digits}X}"

    def read(self, text: str) -> int:
        """The number behind a printed serial. Raises ValueError when it isn't one or is out of range."""
        if not text.isascii() or not text.isalnum():
            raise ValueError(text)
        serial = int(text, self.base)
        if not 0 < serial <= MAX_SERIAL:
            raise ValueError(text)
        return serial


def write_serial(serial: int) -> str:
    """The serial in the form of roster files, API and page: ten decimal digits."""
    return f"{serial:010d}"


def mask_serial(serial: int) -> str:
    """The serial for logs: only its last three digits."""
    return f"…{serial % 1000:03d}"


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of transmitter and its position labels, in the order of their numbers in the memory."""

    name: str
    positions: tuple[str, ...]

    def number_of(self, label: str) -> int | None:
        """The position's number (1 to 8) in the receiver's memory, None when this kind lacks it."""
        return self.positions.index(label) + 1 if label in self.positions else None

    def label_of(self, number: int) -> str:
        """The label of a position number; the number itself when this kind lacks it."""
        return self.positions[number - 1] if 1 <= number <= len(self.positions) else str(number)


def _singles(count: int) -> tuple[str, ...]:
    return tuple(str(n) for n in range(1, count + 1))


#: Kinds that every roster knows without a `[kinds]` table. `any` stands for a transmitter of unstated kind.
BUILT_IN_KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        kind.name: kind
        for kind in (
            Kind("any", _singles(8)),
            Kind("one-button", _singles(1)),
            Kind("two-button", _singles(2)),
            Kind("three-button", _singles(3)),
            Kind("four-button", _singles(4)),
            Kind("eight-button", _singles(8)),
        )
    }
)
