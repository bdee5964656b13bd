"""Papers: the handover document and the access list."""

from __future__ import annotations

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Query, Serial, Time, example

__all__ = [
    "AccessAnswer",
    "AccessQuery",
    "GatePaperAnswer",
    "GroupPaperAnswer",
    "HandoverAnswer",
    "HeadingAnswer",
    "InputPaperAnswer",
    "OutputPaperAnswer",
    "PaperQuery",
    "PaperRowAnswer",
    "ReceiverPaperAnswer",
    "RetentionAnswer",
    "RetentionRowAnswer",
    "RevokedPaperAnswer",
    "TransmitterPaperAnswer",
]

_HEADING = {
    "site": "fennel-quay",
    "written": "2026-05-02T14:00:00.000Z",
    "clock_trusted": True,
    "zone": "Europe/London",
    "roster": "9f2c6c1e",
    "roster_time": "2026-05-01T02:30:05.000Z",
}
_ROW = {
    "holder": "Berth 12",
    "serial": "0048231907",
    "positions": ["1"],
    "outputs": ["gate"],
    "valid_from": "2026-04-01",
    "valid_until": "2026-10-31",
    "state": "works, proven",
}


class _Part(Answer):
    model_config = ConfigDict(from_attributes=True)


class PaperQuery(Query):
    """`named=false` leaves holders out; serials stay."""

    named: bool = True


class AccessQuery(PaperQuery):
    """Which gate."""

    gate: str = Field(max_length=64, description="The gate's name in the settings.")


class HeadingAnswer(_Part):
    """Which site, and when the paper was written."""

    site: str
    written: Time
    clock_trusted: bool = Field(description="Whether the gateway's clock was known to be right then.")
    zone: str
    roster: str = Field(description="Digest of the roster in force; empty without one.")
    roster_time: Time | None


class OutputPaperAnswer(_Part):
    """One relay."""

    number: int
    name: str
    mode: str = Field(description="As set on the board; empty where nobody can tell.")
    on_time_s: int | None


class InputPaperAnswer(_Part):
    """One monitored contact."""

    number: int
    name: str
    role: str


class ReceiverPaperAnswer(_Part):
    """One receiver; what was never read is null or empty."""

    name: str
    maker: str
    product: str
    version: str
    serial: str
    link: str
    proven: str
    slots_used: int | None
    slots: int | None
    local_programming: bool | None
    password_set: bool | None
    outputs: list[OutputPaperAnswer]
    inputs: list[InputPaperAnswer]


class GatePaperAnswer(_Part):
    """One gate."""

    name: str
    title: str
    kind: str
    receiver: str
    outputs: list[str]
    contacts: list[str]
    travel_s: float
    stay_open_limit_s: float | None
    service_cycles: int | None
    cycles: int


class GroupPaperAnswer(_Part):
    """A set of rights, and how many transmitters have it."""

    name: str
    rights: list[str]
    transmitters: int


class TransmitterPaperAnswer(_Part):
    """Who has what."""

    holder: str
    serial: Serial
    kind: str
    group: str
    valid_from: str
    valid_until: str
    places: list[str]
    state: str


class RevokedPaperAnswer(_Part):
    """A revocation in force."""

    serial: Serial
    time: Time
    reason: str
    proven: bool


class HandoverAnswer(_Part):
    """A whole site."""

    model_config = ConfigDict(
        from_attributes=True,
        json_schema_extra=example(heading=_HEADING, receivers=[], gates=[], groups=[], transmitters=[], revoked=[]),
    )

    heading: HeadingAnswer
    receivers: list[ReceiverPaperAnswer]
    gates: list[GatePaperAnswer]
    groups: list[GroupPaperAnswer]
    transmitters: list[TransmitterPaperAnswer]
    revoked: list[RevokedPaperAnswer]


class RetentionRowAnswer(_Part):
    """One kind of thing that is kept."""

    what: str
    holds: str = Field(description="Whose data is in it.")
    kept: str
    setting: str = Field(description="The setting that says so; empty: none.")


class RetentionAnswer(_Part):
    """What is kept about people at this site, and for how long; docs/privacy.md."""

    model_config = ConfigDict(
        from_attributes=True,
        json_schema_extra=example(
            heading=_HEADING,
            rows=[
                {
                    "what": "presses",
                    "holds": "a serial, a time, a place",
                    "kept": "90 days",
                    "setting": "gateway.keep_heard_days",
                }
            ],
        ),
    )

    heading: HeadingAnswer
    rows: list[RetentionRowAnswer]


class PaperRowAnswer(_Part):
    """One transmitter that works the gate."""

    holder: str
    serial: Serial
    positions: list[str]
    outputs: list[str]
    valid_from: str
    valid_until: str
    state: str


class AccessAnswer(_Part):
    """Who has access to one gate."""

    model_config = ConfigDict(
        from_attributes=True,
        json_schema_extra=example(heading=_HEADING, gate="slip-gate", title="Slip gate", rows=[_ROW]),
    )

    heading: HeadingAnswer
    gate: str
    title: str
    rows: list[PaperRowAnswer]
