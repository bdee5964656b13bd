"""Revocations: serials that must not work, whatever the roster says."""

from __future__ import annotations

from typing import Literal

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Body, Query, SentSerial, Serial, Time, example

__all__ = ["LiftQuery", "RevocationAnswer", "RevocationBody", "RevocationsAnswer"]

_Reason = Field(min_length=1, max_length=500, description="Why, for those who ask later.")


class RevocationBody(Body):
    """Revoke a transmitter now."""

    model_config = ConfigDict(json_schema_extra=example(serial="0048231907", reason="lost on the pontoon"))

    serial: SentSerial
    reason: str = _Reason


class LiftQuery(Query):
    """Lifting needs a reason too."""

    reason: str = _Reason


class RevocationAnswer(Answer):
    """One revocation. `states` is by receiver: `proven` when its memory was read and lacks the serial.

    Where no line reaches the receiver it is `owed` at the next visit, or `by-hand`: by what was entered and ticked
    there it lacks the serial, and nobody can prove it.
    """

    model_config = ConfigDict(
        json_schema_extra=example(
            serial="0048231907",
            asked_by="token:t1",
            reason="lost on the pontoon",
            time="2026-03-02T08:00:00.000Z",
            states={"slip-gate": "proven", "car-park": "pending", "boat-shed": "owed"},
            proven=False,
        )
    )

    serial: Serial
    asked_by: str
    reason: str
    time: Time
    states: dict[str, Literal["pending", "proven", "owed", "by-hand"]]
    proven: bool = Field(description="Proven at every receiver; never true where one is worked by hand.")


class RevocationsAnswer(Answer):
    """Revocations in force, newest first. `next` is the next page's cursor, null on the last one."""

    revocations: list[RevocationAnswer]
    next: str | None
