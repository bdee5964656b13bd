"""The audit: who changed or asked for what."""

from __future__ import annotations

from typing import Any

from pydantic import ConfigDict

from gateway.api.models.base import Answer, Time, example

__all__ = ["AuditAnswer", "AuditRowAnswer"]


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
