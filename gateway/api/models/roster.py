"""The roster in force, and checking a file that is not (yet) in force."""

from __future__ import annotations

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Body, Time, example

__all__ = ["AcceptanceAnswer", "CheckAnswer", "CheckBody", "DateChangeAnswer", "FaultAnswer", "RosterAnswer"]


class FaultAnswer(Answer):
    """One fault or doubt. `row` is the number that a spreadsheet shows, header 1; 0 for the file as a whole."""

    file: str
    row: int
    column: str
    found: str
    remedy: str


class AcceptanceAnswer(Answer):
    """Which roster was accepted last, and when."""

    digest: str
    time: Time
    revision: int | None


class DateChangeAnswer(Answer):
    """An instant at which rows begin or end by date, and how many; it is brought to the receivers then."""

    time: Time
    begin: int
    end: int


class RosterAnswer(Answer):
    """The roster in force and what its source last said. `faults` and `warnings` need the scope `roster`."""

    model_config = ConfigDict(
        json_schema_extra=example(
            place="/srv/roster/roster.csv",
            transmitters=412,
            accepted={"digest": "9f2c", "time": "2026-03-02T07:45:02.000Z", "revision": None},
            last_fetch="2026-03-02T07:45:01.000Z",
            last_good="2026-03-02T07:45:01.000Z",
            problem="",
            remedy="",
            unreachable=False,
            fault_count=0,
            warning_count=0,
            faults=[],
            warnings=[],
            next_run="2026-03-02T08:00:00.000Z",
            next_change={"time": "2026-11-01T00:00:00.000Z", "begin": 0, "end": 12},
        )
    )

    place: str = Field(description="Path or address of the source, without credentials.")
    transmitters: int | None = Field(description="Rows of the roster in force; null when there is none.")
    accepted: AcceptanceAnswer | None
    last_fetch: Time | None
    last_good: Time | None
    problem: str
    remedy: str
    unreachable: bool = Field(description="True when nothing came from the source at the last fetch.")
    fault_count: int
    warning_count: int
    faults: list[FaultAnswer] | None = None
    warnings: list[FaultAnswer] | None = None
    next_run: Time | None
    next_change: DateChangeAnswer | None = Field(
        description="When dates next change something here; null when they don't, and while the clock isn't trusted."
    )


class CheckBody(Body):
    """A roster file, and its group file, as text."""

    model_config = ConfigDict(
        json_schema_extra=example(
            roster="serial,holder,group\n0048231907,Berth 12,berth-holders\n",
            groups='[groups.berth-holders]\nslip-gate = { 1 = ["gate"] }\n',
        )
    )

    roster: str
    groups: str | None = None


class CheckAnswer(Answer):
    """What the check of a whole file found. Nothing was changed."""

    model_config = ConfigDict(json_schema_extra=example(ok=True, transmitters=1, holders=1, faults=[], warnings=[]))

    ok: bool
    transmitters: int
    holders: int
    faults: list[FaultAnswer]
    warnings: list[FaultAnswer]
