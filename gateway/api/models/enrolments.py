"""Enrolments: finding out a transmitter's serial, and saying whose it is; and local overrides."""

from __future__ import annotations

from typing import Literal

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Body, SentSerial, Serial, Time, example

__all__ = [
    "BroughtAnswer",
    "CompletionAnswer",
    "CompletionBody",
    "EnrolmentAnswer",
    "EnrolmentBody",
    "EnrolmentsAnswer",
    "HeardAnswer",
    "HolderBody",
    "OverrideAnswer",
    "OverridesAnswer",
]

_Way = Literal["typed", "typed-and-pressed", "two-presses", "several"]


class EnrolmentBody(Body):
    """How the serial becomes certain. `serial` is needed where it is typed, and ignored elsewhere."""

    model_config = ConfigDict(json_schema_extra=example(way="two-presses"))

    way: _Way
    serial: SentSerial | None = None
    seconds: int = Field(default=60, ge=1, le=60, description="How long the receiver listens at most, each time.")


class HeardAnswer(Answer):
    """A transmitter that was pressed or typed. `holder` is who has it by the roster in force, null when nobody has."""

    serial: Serial
    presses: int
    position: str
    holder: str | None


class EnrolmentAnswer(Answer):
    """An enrolment at this moment; every step is an event `enrolment.changed` too.

    `heard` are the transmitters of the window that is open or was the last, `confirmed` those that are certain.
    """

    model_config = ConfigDict(
        json_schema_extra=example(
            id="e-20260302-080000-1",
            receiver="slip-gate",
            way="two-presses",
            state="heard",
            words="Heard transmitter 0048231950. Press it once more.",
            caution="While the receiver listens, transmitters that it knows go on working.",
            started="2026-03-02T08:00:00.000Z",
            ends="2026-03-02T08:01:00.000Z",
            asked_by="token:t1",
            typed=None,
            heard=[{"serial": "0048231950", "presses": 1, "position": "1", "holder": None}],
            confirmed=[],
            problem="",
            remedy="",
        )
    )

    id: str
    receiver: str
    way: _Way
    state: Literal["listening", "heard", "confirmed", "conflict", "ended", "cancelled", "failed", "completed"]
    words: str
    caution: str = Field(description="To be shown while the receiver listens; empty when it does not.")
    started: Time
    ends: Time | None = Field(description="When listening ends at the latest; null when nothing listens.")
    asked_by: str
    typed: Serial | None
    heard: list[HeardAnswer]
    confirmed: list[HeardAnswer]
    problem: str
    remedy: str


class EnrolmentsAnswer(Answer):
    """A page of a receiver's enrolments, newest first. `next` is the next page's cursor, null on the last one."""

    enrolments: list[EnrolmentAnswer]
    next: str | None


class HolderBody(Body):
    """Whose a confirmed transmitter is, and by exactly one of `group`, `rights` and `like` what it may work."""

    serial: SentSerial
    holder: str = Field(min_length=1, max_length=200)
    kind: str = Field(default="", max_length=100, description="Empty: that of `like`, else any.")
    group: str = Field(default="", max_length=200, description="A group of the roster: joined, so it stays live.")
    rights: str = Field(default="", max_length=2000, description="As in a roster file: 1:slip-gate/gate.")
    like: str = Field(default="", max_length=200, description="A holder or a serial whose rights are copied once.")
    note: str = Field(default="", max_length=500)


class CompletionBody(Body):
    """Make rows of what was confirmed."""

    model_config = ConfigDict(
        json_schema_extra=example(
            transmitters=[{"serial": "0048231950", "holder": "Berth 40", "group": "berth-holders"}], in_force=True
        )
    )

    transmitters: list[HolderBody] = Field(min_length=1, max_length=100)
    in_force: bool = Field(default=False, description="Let them work at once, as local overrides.")
    add: bool = Field(default=False, description="Put the rows into the roster that the gateway keeps itself.")


class BroughtAnswer(Answer):
    """What became of it at one receiver: a plan, or why there is none yet."""

    receiver: str
    plan: str | None
    state: Literal["preview", "held", "pending", "applying", "applied", "failed", "refused", "superseded"] | None
    problem: str
    remedy: str


class CompletionAnswer(Answer):
    """Rows as text of a roster file, below `header`; `csv` is all of it.

    `added`: they stand in the gateway's own roster. `overrides` are the serials that work at once. `left_out` are
    sentences about what was not done.
    """

    model_config = ConfigDict(
        json_schema_extra=example(
            header="serial,holder,kind,group,rights,sites,valid_from,valid_until,note",
            rows=["0048231950,Berth 40,,berth-holders,,,,,"],
            csv="serial,holder,kind,group,rights,sites,valid_from,valid_until,note\n0048231950,Berth 40,,,,,,,\n",
            added=False,
            overrides=["0048231950"],
            brought=[
                {"receiver": "slip-gate", "plan": "p-0007", "state": "pending", "problem": "", "remedy": ""},
            ],
            left_out=[],
        )
    )

    header: str
    rows: list[str]
    csv: str
    added: bool
    overrides: list[Serial]
    brought: list[BroughtAnswer]
    left_out: list[str]


class OverrideAnswer(Answer):
    """A transmitter that works here though the roster does not have it yet. `row` is the row to add."""

    model_config = ConfigDict(
        json_schema_extra=example(
            serial="0048231950",
            holder="Berth 40",
            row="0048231950,Berth 40,,berth-holders,,,,,",
            asked_by="token:t1",
            time="2026-03-02T08:01:30.000Z",
        )
    )

    serial: Serial
    holder: str
    row: str
    asked_by: str
    time: Time


class OverridesAnswer(Answer):
    """A page of the overrides in force, oldest first; `header` is the header of their rows.

    `next` is the next page's cursor, null on the last one.
    """

    header: str
    overrides: list[OverrideAnswer]
    next: str | None
