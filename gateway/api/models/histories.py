"""Who had access to what, and one transmitter's story."""

from __future__ import annotations

from typing import Literal

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Day, Query, SentSerial, Serial, Time, example

__all__ = [
    "AccessRightAnswer",
    "AccessRowAnswer",
    "ChapterAnswer",
    "GapAnswer",
    "HistoryAnswer",
    "HistoryQuery",
    "MomentAnswer",
    "ReceiverDayAnswer",
    "RosterRevisionAnswer",
    "RosterRevisionsAnswer",
    "RosterRevisionsQuery",
    "StoryAnswer",
]


class RosterRevisionsQuery(Query):
    """Which page of the revisions; newest first."""

    cursor: str | None = Field(default=None, max_length=200)
    limit: int = Field(default=50, ge=1, le=500)


class HistoryQuery(Query):
    """`on` asks for a day, `serial` for a transmitter; one of them. `receiver` and `gate` narrow a day."""

    on: Day | None = Field(default=None, description="A day of the site's zone, as YYYY-MM-DD.")
    serial: SentSerial | None = None
    receiver: str | None = None
    gate: str | None = None
    cursor: str | None = Field(default=None, max_length=200)
    limit: int = Field(default=200, ge=1, le=500)


class MomentAnswer(Answer):
    """When. `at` is null while a clock that was not right leaves it open; `earliest` and `latest` then bound it."""

    at: Time | None
    earliest: Time | None
    latest: Time | None
    clock: Time = Field(description="What the wall clock showed.")
    clock_trusted: bool = Field(description="Whether that was known to be right.")


class RosterRevisionAnswer(Answer):
    """A roster that was accepted, and what it changed against the one before."""

    number: int
    digest: str
    revision: int | None = Field(description="A signed roster's number.")
    accepted: MomentAnswer
    transmitters: int
    holders: int
    added: int
    changed: int
    removed: int


class RosterRevisionsAnswer(Answer):
    """A page of revisions. `next` is the next page's cursor, null on the last one."""

    model_config = ConfigDict(
        json_schema_extra=example(
            revisions=[
                {
                    "number": 3,
                    "digest": "9f2c",
                    "revision": None,
                    "accepted": {
                        "at": "2026-03-02T07:45:02.000Z",
                        "earliest": "2026-03-02T07:45:02.000Z",
                        "latest": "2026-03-02T07:45:02.000Z",
                        "clock": "2026-03-02T07:45:02.000Z",
                        "clock_trusted": True,
                    },
                    "transmitters": 412,
                    "holders": 398,
                    "added": 1,
                    "changed": 0,
                    "removed": 2,
                }
            ],
            next=None,
        )
    )

    revisions: list[RosterRevisionAnswer]
    next: str | None


class AccessRightAnswer(Answer):
    """A position and the outputs that it works."""

    position: str
    outputs: list[str]


class AccessRowAnswer(Answer):
    """One transmitter at one receiver. `memory` was read there; `by-hand` written down; `roster` only wanted."""

    receiver: str
    serial: Serial
    holder: str
    slot: int | None
    rights: list[AccessRightAnswer]
    basis: Literal["memory", "by-hand", "roster"]
    certain: bool = Field(description="False: a clock that was not right leaves open whether it was on this day.")
    first: MomentAnswer
    last: MomentAnswer | None = Field(description="Null: it is still so.")
    words: str


class GapAnswer(Answer):
    """A time in which nobody watched; `until` null: it went on."""

    since: Time
    until: Time | None
    why: str


class ReceiverDayAnswer(Answer):
    """How good the record of one receiver is for that day."""

    receiver: str
    recorded: bool = Field(description="False: nothing is recorded of it for the whole day.")
    recorded_since: MomentAnswer | None
    gaps: list[GapAnswer]
    receipt: str = Field(description="The newest signed receipt from before the day's end; empty without one.")
    receipt_time: Time | None


class ChapterAnswer(Answer):
    """One thing that happened. `basis` says how it is known: `roster` and `order` are what somebody wanted, `memory`
    was read and proven, `by-hand` written down, `board` found changed, `radio` heard."""

    moment: MomentAnswer
    basis: Literal["roster", "order", "memory", "by-hand", "board", "radio"]
    receiver: str
    words: str


class StoryAnswer(Answer):
    """A transmitter's story, oldest first."""

    serial: Serial
    holder: str = Field(description="Who has it by the roster in force; empty when it is on none.")
    chapters: list[ChapterAnswer]
    now: list[str]
    limits: list[str]


class HistoryAnswer(Answer):
    """A day (`access`, `receivers`) or a `story`; what was not asked for is null. Every question is in the audit."""

    model_config = ConfigDict(
        json_schema_extra=example(
            on="2026-03-02",
            zone="Europe/London",
            begin="2026-03-02T00:00:00.000Z",
            end="2026-03-03T00:00:00.000Z",
            rosters_since=None,
            receivers=[],
            access=[],
            story=None,
            next=None,
        )
    )

    on: str | None
    zone: str
    begin: Time | None
    end: Time | None
    rosters_since: MomentAnswer | None
    receivers: list[ReceiverDayAnswer] | None
    access: list[AccessRowAnswer] | None
    story: StoryAnswer | None
    next: str | None = Field(description="The cursor of the next page of `access`; null on the last one.")
