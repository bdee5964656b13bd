"""A request or an act at the board that the receiver refuses, with the reason that its status then shows.

Exception codes: Modbus Application Protocol V1.1b3, section 7. Reasons: docs/register-map.md, "refusal".
"""

from __future__ import annotations

from gateway.modbus import ExceptionCode

__all__ = ["Refusal", "out_of_range"]


class Refusal(Exception):
    """`reason` is a name of the map's refusal codes; `exception_code` is what the line is answered."""

    def __init__(self, reason: str, exception_code: ExceptionCode = ExceptionCode.DEVICE_FAILURE) -> None:
        super().__init__(reason)
        self.reason = reason
        self.exception_code = exception_code


def out_of_range() -> Refusal:
    """Exception 03: the request's values can't be, or its place is not that of whole records."""
    return Refusal("out-of-range", ExceptionCode.ILLEGAL_DATA_VALUE)
