"""Events as CloudEvents, and which of them are wanted."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Query, example
from gateway.domain.events import EventName

__all__ = ["EventAnswer", "EventsAnswer", "EventsQuery", "StreamQuery"]


class StreamQuery(Query):
    """Which events. `last_event_id` stands in for the Last-Event-ID header where a client can't set it."""

    last_event_id: str | None = Field(default=None, max_length=200)
    name: list[EventName] = Field(default_factory=list, max_length=50, description="Only events of these names.")
    receiver: list[str] = Field(default_factory=list, max_length=50, description="Only events of these receivers.")


class EventsQuery(Query):
    """Newest first; with `after`, those behind that id, oldest first."""

    cursor: str | None = Field(default=None, max_length=200)
    after: str | None = Field(default=None, max_length=200, description="An event's id; <epoch>-0 for all.")
    limit: int = Field(default=100, ge=1, le=500)
    name: list[EventName] = Field(default_factory=list, max_length=50, description="Only events of these names.")
    receiver: list[str] = Field(default_factory=list, max_length=50, description="Only events of these receivers.")


class EventAnswer(Answer):
    """A CloudEvents 1.0 object. `time` is absent while the gateway's clock was not known to be right."""

    model_config = ConfigDict(
        json_schema_extra=example(
            specversion="1.0",
            id="k3v9-1207",
            source="/gateways/fennel-quay",
            type="local.gatepost.input.changed",
            time="2026-03-02T08:00:00.000Z",
            subject="slip-gate",
            datacontenttype="application/json",
            data={"number": 1, "violated": True},
        )
    )

    specversion: Literal["1.0"]
    id: str
    source: str
    type: str
    time: str | None = None
    subject: str | None = None
    datacontenttype: Literal["application/json"]
    data: dict[str, Any]


class EventsAnswer(Answer):
    """A page of events. `next` is the next page's cursor, null when there is nothing more now."""

    events: list[EventAnswer]
    next: str | None
