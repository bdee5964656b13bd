"""What all models share: strict, frozen, no unknown fields; and the types that several of them use."""

from __future__ import annotations

import re
from datetime import date, datetime
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, PlainSerializer, WithJsonSchema

from gateway.domain.cloudevents import write_time
from gateway.domain.transmitter import MAX_SERIAL

__all__ = ["Answer", "Body", "Day", "Query", "Serial", "Time", "example", "read_serial"]


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
Serial = Annotated[str, Field(pattern=r"^[0-9]{10}$", description="A transmitter's serial: ten decimal digits.")]


def read_serial(text: str) -> int | None:
    """The number behind ten digits; None when no transmitter can have it."""
    if len(text) != 10 or not (text.isascii() and text.isdigit()):
        return None
    serial = int(text)
    return serial if 0 < serial <= MAX_SERIAL else None


def example(**fields: Any) -> dict[str, Any]:
    """`json_schema_extra` with one example."""
    return {"examples": [fields]}
