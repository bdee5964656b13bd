"""Slots: what the mirror says that a receiver's memory holds."""

from __future__ import annotations

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Query, Serial, example

__all__ = ["SlotAnswer", "SlotsAnswer", "SlotsQuery"]


class SlotsQuery(Query):
    """Which slots. `q` finds part of a serial and, with the scope `roster`, of a holder's or a kept name."""

    cursor: str | None = Field(default=None, max_length=200)
    limit: int = Field(default=100, ge=1, le=500)
    q: str = Field(default="", max_length=100)


class SlotAnswer(Answer):
    """One slot. `name` and `holder` are there with the scope `roster` alone."""

    number: int
    serial: Serial
    kind: int = Field(description="The map's code of the transmitter's kind; 0 when not stated.")
    outputs: dict[str, list[int]] = Field(description="Output numbers by position number; empty positions left out.")
    flags: int
    name: str | None = Field(default=None, description="As the receiver keeps it.")
    holder: str | None = Field(default=None, description="From the roster in force.")
    revoked: bool = Field(description="A revocation of this serial is in force.")


class SlotsAnswer(Answer):
    """A page of slots, by number. `next` is the next page's cursor, null on the last one."""

    model_config = ConfigDict(
        json_schema_extra=example(
            receiver="slip-gate",
            revision=412,
            total=318,
            slots=[
                {
                    "number": 118,
                    "serial": "0048231907",
                    "kind": 4,
                    "outputs": {"1": [1], "3": [3]},
                    "flags": 0,
                    "name": "Berth 12",
                    "holder": "Berth 12",
                    "revoked": False,
                }
            ],
            next=None,
        )
    )

    receiver: str
    revision: int
    total: int = Field(description="How many slots match, on all pages.")
    slots: list[SlotAnswer]
    next: str | None
