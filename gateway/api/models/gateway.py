"""The gateway itself."""

from __future__ import annotations

from datetime import date

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Time, example

__all__ = [
    "ClockAnswer",
    "GatewayAnswer",
    "HealthAnswer",
    "JournalAnswer",
    "NoticeAnswer",
    "SealAnswer",
    "StateOfHealthAnswer",
]


class ClockAnswer(Answer):
    """Wall time and whether it is known to be right."""

    now: Time
    trusted: bool


class JournalAnswer(Answer):
    """The journal: which life it is in, what is kept, whether it can be written."""

    epoch: str
    newest: str = Field(description="The id of the newest event.")
    oldest: str | None = Field(description="The id of the oldest event kept; null when there is none.")
    available: bool


class SealAnswer(Answer):
    """The audit's newest row. Kept elsewhere, its hash shows whether somebody wrote the whole audit anew."""

    number: int = Field(ge=1)
    hash: str


class NoticeAnswer(Answer):
    """Something that a person should know."""

    code: str
    text: str
    remedy: str


class GatewayAnswer(Answer):
    """The gateway's own state."""

    model_config = ConfigDict(
        json_schema_extra=example(
            id="fennel-quay",
            version="0.1.0",
            supported_until="2029-12-31",
            uptime_s=3605,
            clock={"now": "2026-03-02T08:00:00.000Z", "trusted": True},
            journal={"epoch": "k3v9", "newest": "k3v9-1207", "oldest": "k3v9-1", "available": True},
            audit={"number": 412, "hash": "5d41"},
            next_run="2026-03-02T08:15:00.000Z",
            health={"live": True, "ready": True, "stuck": [], "lacking": []},
            notices=[],
        )
    )

    id: str
    version: str
    supported_until: date = Field(description="The last day on which weaknesses of this version are mended.")
    uptime_s: int = Field(ge=0)
    clock: ClockAnswer
    journal: JournalAnswer
    audit: SealAnswer | None = Field(description="Null while the audit is empty.")
    next_run: Time | None = Field(description="When the roster is fetched next; null without a timetable.")
    health: StateOfHealthAnswer
    notices: list[NoticeAnswer]


class StateOfHealthAnswer(Answer):
    """Whether everything works, and what does not."""

    live: bool = Field(description="Every worker makes progress; if not, a restart may help.")
    ready: bool = Field(description="It does what it is there for.")
    stuck: list[str] = Field(description="Workers that make no progress: `store`, `watch`, `line <name>`.")
    lacking: list[str] = Field(description="`journal`: it can't be written. `lines`: none of them is open.")


class HealthAnswer(Answer):
    """`ok`, or `not ok` with the status 503."""

    model_config = ConfigDict(json_schema_extra=example(status="ok"))

    status: str = Field(pattern=r"^(ok|not ok)$")
