"""Drift: what other hands changed at a receiver, and what people decide about it."""

from __future__ import annotations

from typing import Literal

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Body, Serial, Time, example
from gateway.api.paging import PageQuery

__all__ = ["DecidedAnswer", "DecisionBody", "DriftAnswer", "DriftListAnswer", "DriftQuery"]

_EXAMPLE = {
    "receiver": "slip-gate",
    "serial": "0048231907",
    "holder": "Berth 12",
    "kind": "missing",
    "state": "stands",
    "origin": "board",
    "since": "2026-03-02T08:00:00.000Z",
    "words": "Berth 12, transmitter 0048231907, was taken out at the board on 2 March 2026, 08:00: "
    "it lost gate on position 1.",
    "next_step": "What was taken stays away until somebody restores it; no timetable gives it back.",
    "gained": [],
    "lost": ["gate on position 1"],
    "todo": "Decide what becomes of it.",
    "rights": "",
    "decisions": ["restore", "revoke"],
    "decided_by": "",
}


class DriftQuery(PageQuery):
    """Of one receiver, or of all."""

    receiver: str | None = None


class DriftAnswer(Answer):
    """One transmitter at one receiver.

    `state`: `open` stays until somebody decides, `going` is put right by the next plan, `adopted` stays until the
    roster has it, `stands` was taken away and stays away. `since` is null for what was there before Gatepost.
    """

    model_config = ConfigDict(json_schema_extra=example(**_EXAMPLE))

    receiver: str
    serial: Serial
    holder: str = Field(description="By the roster, else the name that the receiver keeps; may be empty.")
    kind: Literal["extra", "missing", "changed"]
    state: Literal["open", "going", "adopted", "stands"]
    origin: Literal["radio", "line", "board"] | None = Field(description="Null when it is not known.")
    since: Time | None
    words: str
    next_step: str = Field(description="What becomes of it by itself.")
    gained: list[str]
    lost: list[str]
    todo: str = Field(description="What a person still has to do; empty for nothing.")
    rights: str = Field(description="What the receiver holds now, as a roster's row writes it.")
    decisions: list[Literal["adopt", "remove", "restore", "revoke"]] = Field(description="What can be decided.")
    decided_by: str


class DriftListAnswer(Answer):
    """What is open, by receiver and serial. `next` is the next page's cursor, null on the last one."""

    drift: list[DriftAnswer]
    next: str | None


class DecisionBody(Body):
    """`adopt`: what was added stays. `remove`: it goes. `restore`: what was taken comes back. `revoke`: revoked."""

    model_config = ConfigDict(json_schema_extra=example(decision="restore"))

    decision: Literal["adopt", "remove", "restore", "revoke"]


class DecidedAnswer(Answer):
    """What came of a decision. `drift` is null when nothing is left; `plan` is null when none was started."""

    model_config = ConfigDict(
        json_schema_extra=example(
            drift=None,
            plan="p1kjprzb00",
            words="What was taken from transmitter 0048231907 at slip-gate is given back as the roster says. "
            "The change p1kjprzb00 is pending.",
        )
    )

    drift: DriftAnswer | None
    plan: str | None
    words: str
