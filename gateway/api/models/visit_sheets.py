"""Visit sheets of receivers that no line reaches, and what such a receiver holds."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import ConfigDict, Field, model_validator

from gateway.api.models.base import Answer, Body, SentSerial, Serial, Time, example

__all__ = [
    "HeldTransmitter",
    "HoldingsBody",
    "SheetLineAnswer",
    "TickAnswer",
    "TickBody",
    "VisitSheetAnswer",
    "VisitSheetStateAnswer",
]

_LINE = {
    "number": 7,
    "state": "ticked",
    "work": "remove",
    "serial": "0048231907",
    "position": None,
    "output": None,
    "output_name": "",
    "holder": "Berth 12",
    "revoked": True,
    "words": "Take out transmitter 0048231907 (Berth 12): position 1 works output 1 (gate).",
    "tick": {
        "done_by": "Barge crew",
        "asked_by": "token:t1",
        "time": "2026-03-02T08:00:00.000Z",
        "clock_trusted": True,
        "proven": False,
    },
}


class TickAnswer(Answer):
    """Done by hand, not proven: who did it by their own word, who entered it, when."""

    done_by: str
    asked_by: str
    time: Time
    clock_trusted: bool
    proven: Literal[False] = Field(description="Always false: nobody can read this receiver.")


class SheetLineAnswer(Answer):
    """One thing to do at the board. Its number is never given again at this receiver."""

    model_config = ConfigDict(json_schema_extra=example(**_LINE))

    number: int
    state: Literal["open", "ticked", "withdrawn"] = Field(
        description="`withdrawn`: no longer wanted; it may still be ticked when it was done all the same."
    )
    work: Literal["remove", "unlearn", "learn"]
    serial: Serial
    position: int | None = Field(description="Null where the whole transmitter goes.")
    output: int | None
    output_name: str
    holder: str
    revoked: bool = Field(description="True: it works until this is done.")
    words: str = Field(description="What to do, in one sentence.")
    tick: TickAnswer | None


class VisitSheetStateAnswer(Answer):
    """How a visit sheet stands."""

    holdings_known: bool = Field(description="False: nobody has yet said what the receiver holds.")
    open: int = Field(description="Lines to be done.")
    ticked: int = Field(description="Lines done by hand, not proven.")
    owed: int = Field(description="Revoked transmitters that may still work there until somebody has been there.")


class VisitSheetAnswer(Answer):
    """The sheet of one receiver: lines in the order of the work, withdrawn ones last."""

    model_config = ConfigDict(
        json_schema_extra=example(
            receiver="boat-shed",
            site="fennel-quay",
            printed="2026-03-02T08:00:00.000Z",
            began="2026-03-01T02:30:00.000Z",
            counts={"holdings_known": True, "open": 0, "ticked": 1, "owed": 0},
            plan="p01k2m3n4p",
            held="",
            lines=[_LINE],
            left_out=[],
            problem="",
            remedy="",
        )
    )

    receiver: str
    site: str
    printed: Time = Field(description="When this was asked for; a sheet on paper needs it.")
    began: Time | None = Field(description="Since when there is this sheet; null before the first.")
    counts: VisitSheetStateAnswer
    plan: str = Field(description="The plan that the lines carry out; empty when there is none.")
    held: str = Field(description="A plan whose removals wait for approval and are not among the lines.")
    lines: list[SheetLineAnswer]
    left_out: list[str]
    problem: str = Field(description="Why nothing, or not everything, can be planned.")
    remedy: str


class TickBody(Body):
    """Who did it, when that is somebody else than who enters it."""

    model_config = ConfigDict(json_schema_extra=example(done_by="Barge crew"))

    done_by: str = Field(default="", max_length=100)


class HeldTransmitter(Body):
    """One transmitter that the receiver holds: names or numbers of outputs, by number of the position."""

    serial: SentSerial
    outputs: dict[Annotated[str, Field(pattern="^[1-8]$")], list[str]]
    name: str = Field(default="", max_length=100)


class HoldingsBody(Body):
    """What a receiver holds. Exactly one of the three; a list as CSV is sent as `text/csv` or as a form."""

    model_config = ConfigDict(
        json_schema_extra=example(transmitters=[{"serial": "0048231907", "outputs": {"1": ["gate"]}}])
    )

    empty: Literal[True] | None = None
    snapshot: str | None = Field(default=None, description="The id of a snapshot that is kept here.")
    transmitters: list[HeldTransmitter] | None = None

    @model_validator(mode="after")
    def _exactly_one(self) -> HoldingsBody:
        if sum(each is not None for each in (self.empty, self.snapshot, self.transmitters)) != 1:
            raise ValueError("exactly one of empty, snapshot and transmitters is needed")
        return self
