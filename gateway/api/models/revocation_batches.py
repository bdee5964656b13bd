"""Revocations of all transmitters that a holder or a group has."""

from __future__ import annotations

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Body, Query, SentSerial, Serial, example
from gateway.api.models.revocations import RevocationAnswer

__all__ = ["BatchAnswer", "BatchBody", "SelectedAnswer", "SelectionAnswer", "SelectionQuery"]


class SelectionQuery(Query):
    """Exactly one of the two."""

    holder: str | None = Field(default=None, min_length=1, max_length=200)
    group: str | None = Field(default=None, min_length=1, max_length=200)


class SelectedAnswer(Answer):
    """One transmitter. `listed`: the roster has it; `receivers` hold it; `revoked`: it is revoked already."""

    serial: Serial
    holder: str
    group: str
    listed: bool
    receivers: list[str]
    revoked: bool
    words: str


class SelectionAnswer(Answer):
    """All transmitters of the holder or the group."""

    model_config = ConfigDict(
        json_schema_extra=example(
            transmitters=[
                {
                    "serial": "0048231907",
                    "holder": "Berth 12",
                    "group": "berth-holders",
                    "listed": True,
                    "receivers": ["slip-gate"],
                    "revoked": False,
                    "words": "Berth 12, transmitter 0048231907, slip-gate holds it.",
                }
            ]
        )
    )

    transmitters: list[SelectedAnswer]


class BatchBody(Body):
    """Either `holder` or `group`. With `serials` nothing is done unless exactly these are selected still."""

    model_config = ConfigDict(
        json_schema_extra=example(holder="Berth 12", reason="left the yard", serials=["0048231907"])
    )

    holder: str | None = Field(default=None, min_length=1, max_length=200)
    group: str | None = Field(default=None, min_length=1, max_length=200)
    reason: str = Field(min_length=1, max_length=500, description="Why, for those who ask later; of each of them.")
    serials: list[SentSerial] | None = Field(default=None, max_length=50_000)


class BatchAnswer(Answer):
    """One revocation for each transmitter."""

    model_config = ConfigDict(
        json_schema_extra=example(
            revocations=[
                {
                    "serial": "0048231907",
                    "asked_by": "token:t1",
                    "reason": "left the yard",
                    "time": "2026-03-02T08:00:00.000Z",
                    "states": {"slip-gate": "pending"},
                    "proven": False,
                }
            ]
        )
    )

    revocations: list[RevocationAnswer]
