"""Modbus exception codes in words. Source: Modbus Application Protocol V1.1b3, section 7."""

from __future__ import annotations

from enum import IntEnum

__all__ = ["ExceptionCode", "RequestFault", "exception_name"]


class ExceptionCode(IntEnum):
    """The published codes; a unit may send others."""

    ILLEGAL_FUNCTION = 0x01
    ILLEGAL_DATA_ADDRESS = 0x02
    ILLEGAL_DATA_VALUE = 0x03
    DEVICE_FAILURE = 0x04
    ACKNOWLEDGE = 0x05
    DEVICE_BUSY = 0x06
    MEMORY_PARITY_ERROR = 0x08
    GATEWAY_PATH_UNAVAILABLE = 0x0A
    GATEWAY_TARGET_SILENT = 0x0B


def exception_name(code: int) -> str:
    """`illegal data address` for 2; `unknown exception 7F` for a code that the standard doesn't list."""
    try:
        return ExceptionCode(code).name.lower().replace("_", " ")
    except ValueError:
        return f"unknown exception {code:02X}"


class RequestFault(Exception):
    """A request that a unit must answer with an exception; `exception_code` says with which."""

    def __init__(self, exception_code: int) -> None:
        super().__init__(exception_name(exception_code))
        self.exception_code = int(exception_code)
