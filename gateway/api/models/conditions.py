"""Conditions: what needs a person, and taking note of it."""

from __future__ import annotations

from typing import Literal

from pydantic import ConfigDict, Field

from gateway.api.models.base import NOT_BLANK, Answer, Body, Serial, Time, example
from gateway.api.paging import PageQuery
from gateway.domain.condition import ConditionKind, Ending, Weight

__all__ = ["AcknowledgementAnswer", "AcknowledgementBody", "ConditionAnswer", "ConditionsAnswer", "ConditionsQuery"]


class ConditionsQuery(PageQuery):
    """Which conditions: those that are open, those cleared a while ago at most, or both."""

    state: Literal["open", "cleared", "all"] = "open"
    gate: str | None = Field(default=None, max_length=64, description="Only those of this gate.")


class AcknowledgementBody(Body):
    """Who takes note, and what they did or found."""

    model_config = ConfigDict(json_schema_extra=example(name="Harbour office", note="Leaf was blocked by a trailer."))

    name: str = Field(min_length=1, max_length=100, pattern=NOT_BLANK)
    note: str = Field(min_length=1, max_length=500, pattern=NOT_BLANK)


class AcknowledgementAnswer(Answer):
    """Who took note. Name and note are left out without the scope `roster`."""

    time: Time
    name: str | None = None
    note: str | None = None


class ConditionAnswer(Answer):
    """One condition, from raised to cleared."""

    model_config = ConfigDict(
        json_schema_extra=example(
            id="k3v9-c31",
            condition="left-open",
            weight="alarm",
            ending="by-itself",
            sentence="Slip gate is open for longer than 5 minutes.",
            since="2026-03-02T07:58:11.000Z",
            raised="2026-03-02T08:03:11.000Z",
            cleared=None,
            receiver="slip-gate",
            gate="slip-gate",
            line=None,
            input=1,
            output=None,
            serial=None,
            count=None,
            visit=False,
            acknowledged=None,
        )
    )

    id: str
    condition: ConditionKind
    weight: Weight
    ending: Ending = Field(description="`acknowledged`: it is cleared when somebody takes note.")
    sentence: str
    since: Time = Field(description="When what it tells of began.")
    raised: Time
    cleared: Time | None
    receiver: str | None
    gate: str | None
    line: str | None
    input: int | None
    output: int | None
    serial: Serial | None
    count: int | None
    visit: bool = Field(description="Raised while people worked there: a test.")
    acknowledged: AcknowledgementAnswer | None


class ConditionsAnswer(Answer):
    """A page of conditions, newest first. `next` is the next page's cursor, null on the last one."""

    conditions: list[ConditionAnswer]
    next: str | None
