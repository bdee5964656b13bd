"""The timeline: what happened, in sentences, and how often gates are used."""

from __future__ import annotations

from datetime import date

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Day, Query, Serial, Time, example
from gateway.domain.events import EventName
from gateway.domain.story import StoryKind

__all__ = [
    "DayUse",
    "ExportQuery",
    "HourUse",
    "LateAnswer",
    "TimelineAnswer",
    "TimelineQuery",
    "TimelineRow",
    "UseAnswer",
    "UseQuery",
]


class ExportQuery(Query):
    """What is wanted; everything that is given must fit. Days are those of the site, both inclusive."""

    gate: str | None = Field(default=None, max_length=64, description="Only what is about this gate.")
    kind: list[StoryKind] = Field(default_factory=list, max_length=6)
    who: str | None = Field(
        default=None,
        max_length=100,
        description="Part of a holder's name (needs the scope `roster`), or of a serial.",
    )
    from_day: Day | None = None
    to_day: Day | None = None


class TimelineQuery(ExportQuery):
    """A page of it, newest first."""

    cursor: str | None = Field(default=None, max_length=200)
    limit: int = Field(default=100, ge=1, le=500)


class LateAnswer(Answer):
    """Read after a gap: it happened between these times."""

    earliest: Time
    latest: Time


class TimelineRow(Answer):
    """One happening. `holder` is left out without the scope `roster`."""

    id: str
    time: Time | None = Field(description="Null while the clock was not known to be right.")
    late: LateAnswer | None = Field(description="Null when it was told as it happened.")
    name: EventName
    kind: StoryKind
    receiver: str | None
    gates: list[str]
    serial: Serial | None
    holder: str | None = None
    weight: str | None = Field(description="Of a condition: how much it presses.")
    sentence: str


class TimelineAnswer(Answer):
    """A page. `next` is the next page's cursor, null when there is no more.

    A page may hold fewer rows than asked for, even none, and still have a `next`: then it was long looked for.
    """

    model_config = ConfigDict(
        json_schema_extra=example(
            rows=[
                {
                    "id": "k3v9-1207",
                    "time": "2026-03-02T08:00:00.000Z",
                    "late": None,
                    "name": "transmitter.heard",
                    "kind": "use",
                    "receiver": "slip-gate",
                    "gates": ["slip-gate"],
                    "serial": "0048231907",
                    "holder": "Berth 12",
                    "weight": None,
                    "sentence": "Berth 12 used Slip gate (position 1).",
                }
            ],
            next=None,
        )
    )

    rows: list[TimelineRow]
    next: str | None


class UseQuery(Query):
    """Which gate (all without one), and which days of the site: the last 30 unless told."""

    gate: str | None = Field(default=None, max_length=64)
    from_day: Day | None = None
    to_day: Day | None = None


class DayUse(Answer):
    """Presses that worked a gate on one day of the site."""

    day: date
    presses: int


class HourUse(Answer):
    """Presses in one hour of the day, over all days asked for."""

    hour: int = Field(ge=0, le=23)
    presses: int


class UseAnswer(Answer):
    """Every day asked for, and every hour of a day; those without a press have 0."""

    model_config = ConfigDict(
        json_schema_extra=example(days=[{"day": "2026-03-02", "presses": 31}], hours=[{"hour": 8, "presses": 31}])
    )

    days: list[DayUse]
    hours: list[HourUse]
