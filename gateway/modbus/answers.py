"""Answers of a unit as values: what each function code brings back.

Register data stays bytes, high byte first, all the way up: the map decides what they mean, and most data
never needs to be numbers. Layouts: Modbus Application Protocol V1.1b3, section 6; exceptions: section 7.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

__all__ = [
    "Answer",
    "BitsAnswer",
    "ExceptionAnswer",
    "IdentificationAnswer",
    "RegistersAnswer",
    "WriteAnswer",
    "WriteManyAnswer",
]


@dataclass(frozen=True, slots=True)
class BitsAnswer:
    """Functions 1 and 2. As decoded against its request it has exactly the bits that were asked for."""

    function: int
    bits: tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class RegistersAnswer:
    """Functions 3 and 4. `data` is two bytes a register, high byte first."""

    function: int
    data: bytes

    @property
    def registers(self) -> tuple[int, ...]:
        """The registers as unsigned 16-bit numbers."""
        return struct.unpack(f">{len(self.data) // 2}H", self.data)


@dataclass(frozen=True, slots=True)
class WriteAnswer:
    """Functions 5 and 6: `value` is FF00 or 0000 for a coil, the register's value otherwise."""

    function: int
    address: int
    value: int


@dataclass(frozen=True, slots=True)
class WriteManyAnswer:
    """Functions 15 and 16."""

    function: int
    address: int
    count: int


@dataclass(frozen=True, slots=True)
class IdentificationAnswer:
    """Function 43/14. `objects` are (id, bytes); with `more_follows` the rest begins at `next_object`."""

    code: int
    conformity: int
    more_follows: bool
    next_object: int
    objects: tuple[tuple[int, bytes], ...]


@dataclass(frozen=True, slots=True)
class ExceptionAnswer:
    """The unit refused. `function` is the request's, without the high bit that marks an exception."""

    function: int
    code: int


Answer = BitsAnswer | RegistersAnswer | WriteAnswer | WriteManyAnswer | IdentificationAnswer | ExceptionAnswer
