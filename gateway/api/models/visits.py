"""Work in progress: started, running, ended, and what changed."""

from __future__ import annotations

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Body, Time, example
from gateway.domain.visit import MOST_MINUTES, VisitScope, VisitState

__all__ = ["VisitAnswer", "VisitBody", "VisitChangeAnswer", "VisitsAnswer"]


class VisitBody(Body):
    """Who works where, for how long, and why. Name one gate or one receiver, or none for the whole site."""

    model_config = ConfigDict(
        json_schema_extra=example(receiver="slip-gate", minutes=60, reason="aerial is replaced", unlock=True)
    )

    receiver: str | None = Field(default=None, max_length=64)
    gate: str | None = Field(default=None, max_length=64)
    minutes: int = Field(description=f"1 to {MOST_MINUTES}.")
    reason: str = Field(default="", max_length=200, description="Who works there and why; refused when it is empty.")
    unlock: bool = Field(default=False, description="The board's own buttons may be used meanwhile.")


class VisitChangeAnswer(Answer):
    """One thing that changed meanwhile."""

    receiver: str
    event: str = Field(description="The id of the event that told it.")
    time: Time
    sentence: str


_VISIT = {
    "id": "v-1f9c22ab",
    "scope": "receiver",
    "name": "slip-gate",
    "receivers": ["slip-gate"],
    "state": "ended",
    "minutes": 60,
    "reason": "aerial is replaced",
    "asked_by": "token:1f9c",
    "started": "2026-03-02T08:00:00.000Z",
    "until": "2026-03-02T09:00:00.000Z",
    "ended": "2026-03-02T08:41:00.000Z",
    "ended_by": "token:1f9c",
    "unlocked": [],
    "problems": {},
    "unread": [],
    "changes": [
        {
            "receiver": "slip-gate",
            "event": "k3v9-1207",
            "time": "2026-03-02T08:12:09.000Z",
            "sentence": "slot 7: transmitter 0048231907 was added at the board",
        }
    ],
}


class VisitAnswer(Answer):
    """One visit. `changes` are listed when it is over."""

    model_config = ConfigDict(json_schema_extra=example(**_VISIT))

    id: str
    scope: VisitScope
    name: str = Field(description="The gate or receiver; empty for the whole site.")
    receivers: list[str]
    state: VisitState = Field(description="`locking`: over, and a receiver is not proven locked yet.")
    minutes: int
    reason: str
    asked_by: str
    started: Time
    until: Time
    ended: Time | None
    ended_by: str
    unlocked: list[str] = Field(description="Receivers whose buttons were unlocked for it and are not locked again.")
    problems: dict[str, str] = Field(description="By receiver: what went wrong with unlocking or locking.")
    unread: list[str] = Field(description="Receivers that could not be read at the end: the list may lack something.")
    changes: list[VisitChangeAnswer]


class VisitsAnswer(Answer):
    """A page of visits, newest first. `next` is the next page's cursor, null on the last one."""

    model_config = ConfigDict(json_schema_extra=example(visits=[_VISIT], next=None))

    visits: list[VisitAnswer]
    next: str | None
