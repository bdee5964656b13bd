"""Gates: what people see, in a sentence, with what it rests on."""

from __future__ import annotations

from typing import Literal

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Time, example
from gateway.domain.gate import Closing, GateKind, GatePosition, InputRole

__all__ = ["ContactAnswer", "GateAnswer", "GateOutputAnswer", "GatesAnswer"]


class ContactAnswer(Answer):
    """One input that watches the gate. `state` is `unknown` while its receiver can't be read."""

    receiver: str
    input: int
    name: str
    role: InputRole
    state: Literal["normal", "violated", "unknown"]


class GateOutputAnswer(Answer):
    """One output that moves the gate."""

    number: int
    name: str


class GateAnswer(Answer):
    """One gate. Its position comes from its contacts alone; an older value never stands in for one that is unknown."""

    model_config = ConfigDict(
        json_schema_extra=example(
            id="slip-gate",
            title="Slip gate",
            kind="gate",
            receiver="slip-gate",
            outputs=[{"number": 1, "name": "gate"}],
            contacts=[
                {"receiver": "slip-gate", "input": 1, "name": "gate closed", "role": "closed", "state": "violated"}
            ],
            position="open",
            since="2026-03-02T07:58:11.000Z",
            sentence="Slip gate is open since 07:58.",
            reason="",
            healthy=True,
            conditions=[],
            travel_s=20.0,
            stay_open_limit_s=300.0,
            closing="by-command",
            cycles=1204,
            service_cycles=50000,
        )
    )

    id: str
    title: str
    kind: GateKind
    receiver: str
    outputs: list[GateOutputAnswer]
    contacts: list[ContactAnswer]
    position: GatePosition
    since: Time | None = Field(description="Since when it stands so; null while nobody saw it change.")
    sentence: str = Field(description="The same for people, in the site's own time.")
    reason: str = Field(description="Why the position is unknown; empty when it is known.")
    healthy: bool = Field(description="The position is known and no condition is open.")
    conditions: list[str] = Field(description="Ids of the conditions that are open on it.")
    travel_s: float
    stay_open_limit_s: float | None
    closing: Closing
    cycles: int = Field(description="How often it opened since the last service.")
    service_cycles: int | None


class GatesAnswer(Answer):
    """Every gate of this gateway, in the order of the settings."""

    gates: list[GateAnswer]
    next: str | None = Field(description="The next page's cursor; null on the last one.")
