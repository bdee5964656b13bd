"""The audit: who changed or asked for what."""

from __future__ import annotations

from typing import Any

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Time, example

__all__ = ["AuditAnswer", "AuditCheckAnswer", "AuditRowAnswer"]


class AuditRowAnswer(Answer):
    """One row. `hash` binds it to the one before; `detail` is null once its personal part was erased."""

    number: int
    time: Time
    who: str
    what: str
    outcome: str
    detail: dict[str, Any] | None
    hash: str


class AuditAnswer(Answer):
    """A page of the audit. `next` is the next page's cursor, null on the last one."""

    model_config = ConfigDict(
        json_schema_extra=example(
            rows=[
                {
                    "number": 12,
                    "time": "2026-03-02T08:00:00.000Z",
                    "who": "local:0",
                    "what": "token.added",
                    "outcome": "done",
                    "detail": {"name": "harbour office desk"},
                    "hash": "5d41",
                }
            ],
            next=None,
        )
    )

    rows: list[AuditRowAnswer]
    next: str | None


class AuditCheckAnswer(Answer):
    """The whole chain, computed anew. Keep `head` elsewhere: whoever may write the whole file can write a new chain."""

    model_config = ConfigDict(json_schema_extra=example(rows=12, head="5d41", whole=True, broken=None, problem=""))

    rows: int = Field(ge=0)
    head: str = Field(description="The newest row's hash.")
    whole: bool
    broken: int | None = Field(description="The first row that does not fit.")
    problem: str
