"""Outlets: where events go, how far each has come, and what was tried."""

from __future__ import annotations

from typing import Literal

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Body, Time, example

__all__ = [
    "OutletAnswer",
    "OutletDetailAnswer",
    "OutletsAnswer",
    "ReplayBody",
    "SampleAnswer",
    "SetAsideAnswer",
    "TestsAnswer",
]

_OUTLET = {
    "id": "harbour-desk",
    "kind": "webhook",
    "place": "https://desk.fennel-quay.example/gatepost",
    "state": "failing",
    "next_event": "k3v9-1207",
    "lag": 12,
    "waiting_since": "2026-03-02T08:00:00.000Z",
    "failures": 3,
    "next_try": "2026-03-02T08:35:00.000Z",
    "failing_since": "2026-03-02T08:00:05.000Z",
    "problem": "desk.fennel-quay.example answers 500 (Internal Server Error).",
    "remedy": "Look at the endpoint; it is tried again.",
    "done": 1190,
    "set_aside": 1,
    "lost": 0,
}


class OutletAnswer(Answer):
    """One outlet. `next_event` is the id of the first event that it is not done with."""

    model_config = ConfigDict(json_schema_extra=example(**_OUTLET))

    id: str
    kind: Literal["webhook", "mqtt", "alarm", "mail"]
    place: str = Field(description="Where it goes, without secrets.")
    state: Literal["idle", "sending", "held", "retrying", "failing", "disabled"]
    next_event: str
    lag: int = Field(description="How many events of the journal are still before it.")
    waiting_since: Time | None = Field(description="When the event whose turn it is happened.")
    failures: int = Field(description="Tries in vain of the event whose turn it is.")
    next_try: Time | None
    failing_since: Time | None
    problem: str
    remedy: str
    done: int = Field(description="Events sent or set aside since it was set up.")
    set_aside: int = Field(description="Events that were refused three times.")
    lost: int = Field(description="Events that the journal forgot before they were sent.")


class SetAsideAnswer(Answer):
    """An event that was refused three times."""

    event: str
    name: str
    receiver: str
    problem: str
    time: Time


class OutletDetailAnswer(OutletAnswer):
    """One outlet with the newest hundred of the events set aside, newest first."""

    model_config = ConfigDict(
        json_schema_extra=example(
            **_OUTLET,
            set_aside_events=[
                {
                    "event": "k3v9-1188",
                    "name": "input.changed",
                    "receiver": "slip-gate",
                    "problem": "desk.fennel-quay.example answers 422 (Unprocessable Entity) to this event.",
                    "time": "2026-03-02T07:12:41.000Z",
                }
            ],
        )
    )

    set_aside_events: list[SetAsideAnswer]


class OutletsAnswer(Answer):
    """Every outlet, in the order of the settings."""

    outlets: list[OutletAnswer]
    next: str | None = Field(description="The next page's cursor; null on the last one.")


class SampleAnswer(Answer):
    """One event of a test. `answer` is what the other side said, or what went wrong and what to do."""

    words: str
    event: str
    outcome: Literal["delivered", "failed", "rejected", "not-tried"]
    answer: str
    took_s: float


class TestsAnswer(Answer):
    """A test: each kind of event that the outlet sends, once."""

    __test__ = False

    model_config = ConfigDict(
        json_schema_extra=example(
            outlet="harbour-desk",
            passed=True,
            time="2026-03-02T08:00:00.000Z",
            results=[
                {
                    "words": "link.lost",
                    "event": "test0a1b2c3d-1",
                    "outcome": "delivered",
                    "answer": "HTTP 204",
                    "took_s": 0.084,
                }
            ],
        )
    )

    outlet: str
    passed: bool
    time: Time
    results: list[SampleAnswer]


class ReplayBody(Body):
    """Send again from an event on; naming the event behind the last one goes on there and leaves out the rest."""

    model_config = ConfigDict(json_schema_extra=example(first="k3v9-1188"))

    first: str = Field(pattern=r"^[0-9a-zA-Z]+-[0-9]{1,18}$", description="The id of the first event to send.")
