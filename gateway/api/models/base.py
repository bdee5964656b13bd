"""What all models share: strict, frozen, no unknown fields; and the types that several of them use."""

from __future__ import annotations

import re
from datetime import date, datetime
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, PlainSerializer, WithJsonSchema

from gateway.domain.cloudevents import write_time
from gateway.domain.transmitter import MAX_SERIAL

__all__ = [
    "NOT_BLANK",
    "NUMBER_AS_NAME",
    "SERIAL_FORM",
    "Answer",
    "Body",
    "Day",
    "Query",
    "SentSerial",
    "Serial",
    "Time",
    "example",
    "read_serial",
]


class Body(BaseModel):
    """What a request sends: strict types, unknown fields refused."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class Query(BaseModel):
    """Parameters behind the question mark: texts that are read as what they stand for."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Answer(BaseModel):
    """What an answer holds."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def _only_iso(text: object) -> object:
    """pydantic also reads a number as seconds since 1970; nobody means that here."""
    if isinstance(text, str) and not _DAY.fullmatch(text):
        raise ValueError("this is no day; write it as YYYY-MM-DD")
    return text


_DAY = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
Day = Annotated[date, BeforeValidator(_only_iso)]
Time = Annotated[
    datetime,
    PlainSerializer(write_time, return_type=str),
    WithJsonSchema({"type": "string", "format": "date-time", "description": "RFC 3339, UTC."}),
]


def _that_can_be(text: str) -> str:
    if read_serial(text) is None:
        raise ValueError(f"no transmitter has this serial; write 0000000001 to {MAX_SERIAL}")
    return text


def _ten_digits_at_most(largest: str) -> str:
    """The pattern of all texts of as many digits that are not above `largest`."""
    below = [
        f"{largest[:place]}[0-{int(digit) - 1}][0-9]{{{len(largest) - place - 1}}}"
        for place, digit in enumerate(largest)
        if digit != "0"
    ]
    return f"^({'|'.join([*below, largest])})$"


NOT_BLANK = r"\S"
SERIAL_FORM = r"^[0-9]{10}$"
Serial = Annotated[str, Field(pattern=SERIAL_FORM, description="A transmitter's serial: ten decimal digits.")]
SentSerial = Annotated[
    str,
    Field(pattern=SERIAL_FORM),
    AfterValidator(_that_can_be),
    WithJsonSchema(
        {
            "type": "string",
            "pattern": _ten_digits_at_most(f"{MAX_SERIAL:010d}"),
            "not": {"const": "0000000000"},
            "description": f"A transmitter's serial: ten decimal digits, 0000000001 to {MAX_SERIAL}.",
        }
    ),
]
"""A serial that somebody sends: one that a transmitter can have."""
NUMBER_AS_NAME = r"^[0-9]+$"
"""The form of a name that is a number, as JSON has no other names."""


def read_serial(text: str) -> int | None:
    """The number behind ten digits; None when no transmitter can have it."""
    if len(text) != 10 or not (text.isascii() and text.isdigit()):
        return None
    serial = int(text)
    return serial if 0 < serial <= MAX_SERIAL else None


def example(**fields: Any) -> dict[str, Any]:
    """`json_schema_extra` with one example."""
    return {"examples": [fields]}
