"""CRC-16/MODBUS, the last two bytes of every RTU frame, low byte first on the wire.

Source: Modbus over Serial Line V1.02, section 6.2.2: polynomial 0xA001 (reflected), start value 0xFFFF.
A table of 256 states takes 13 us for the longest frame; taking two bytes at once through a table of 65,536
was measured at 9 us, which is not worth its memory.
"""

from __future__ import annotations

__all__ = ["crc16", "with_crc"]

_POLYNOMIAL = 0xA001
_START = 0xFFFF


def _shift_byte(state: int) -> int:
    for _ in range(8):
        state = (state >> 1) ^ (_POLYNOMIAL if state & 1 else 0)
    return state


_TABLE = tuple(_shift_byte(byte) for byte in range(256))


def crc16(data: bytes | bytearray | memoryview) -> int:
    """The CRC of `data`; over a whole frame with its CRC it is 0."""
    table = _TABLE
    state = _START
    for byte in data:
        state = (state >> 8) ^ table[(state ^ byte) & 0xFF]
    return state


def with_crc(data: bytes) -> bytes:
    """`data` and its CRC as it goes on the wire, low byte first."""
    return data + crc16(data).to_bytes(2, "little")
