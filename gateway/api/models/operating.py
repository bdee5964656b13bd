"""Outputs that may be operated from afar, operating one, and what became of it."""

from __future__ import annotations

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Body, Time, example
from gateway.domain.cautions import CAUTIONS
from gateway.domain.operation import OperationState

__all__ = [
    "OperationAnswer",
    "OperationBody",
    "OperationsAnswer",
    "OutputsAnswer",
    "SettingOutputAnswer",
    "WarningAnswer",
]

_CAUTIONS = Field(description="What must be known before a gate is operated from afar; show it beside any control.")
_OPERATION = {
    "id": "o-5f0c2a9b71d4",
    "receiver": "slip-gate",
    "output": 1,
    "name": "gate",
    "state": "done",
    "seconds": 5.0,
    "reason": "delivery for the chandlery, seen from the office",
    "asked_by": "token:1f9c",
    "asked": "2026-03-02T07:58:11.000Z",
    "ended": "2026-03-02T07:58:11.120Z",
    "code": "",
    "sentence": "The contact of gate was closed once; the receiver ends it by itself.",
    "remedy": "Look whether the gate moves as it should.",
    "cautions": list(CAUTIONS),
}


class OperationBody(Body):
    """One closure of one output. There is no hold, no repeat and no sequence."""

    model_config = ConfigDict(json_schema_extra=example(reason="delivery for the chandlery, seen from the office"))

    reason: str = Field(default="", max_length=200, description="Why; refused when it is empty, and audited.")
    seconds: float | None = Field(
        default=None,
        description="A timed output: at most its own on-time, which is also the default. A momentary one: at most 10, "
        "1 by default.",
    )


class OperationAnswer(Answer):
    """One operation. `warning` and `sending` are under way, all other states are final."""

    model_config = ConfigDict(json_schema_extra=example(**_OPERATION))

    id: str
    receiver: str
    output: int
    name: str
    state: OperationState = Field(
        description="`done`: acknowledged by the receiver. `unknown`: sent and not acknowledged, so nobody knows "
        "whether it moved. `refused`: nothing was sent, `code` says why. `interrupted`: the gateway stopped first."
    )
    seconds: float | None = Field(description="How long it closes; null while that is not decided or not known.")
    reason: str
    asked_by: str
    asked: Time
    ended: Time | None
    code: str = Field(description="The problem's code when it was refused or is unknown; empty otherwise.")
    sentence: str
    remedy: str
    cautions: list[str] = _CAUTIONS


class OperationsAnswer(Answer):
    """The newest operations of an output, newest first."""

    model_config = ConfigDict(json_schema_extra=example(operations=[_OPERATION], next=None, cautions=list(CAUTIONS)))

    operations: list[OperationAnswer]
    cautions: list[str] = _CAUTIONS
    next: str | None = Field(description="The next page's cursor; null on the last one.")


class WarningAnswer(Answer):
    """The output that warns first, and for how long."""

    output: int
    name: str
    seconds: float


class SettingOutputAnswer(Answer):
    """One output that has a name. `allowed` says whether the settings allow operating it from afar."""

    number: int
    name: str
    gate: str | None
    allowed: bool
    warning: WarningAnswer | None


class OutputsAnswer(Answer):
    """The outputs of a receiver that have a name, called as they are now."""

    model_config = ConfigDict(
        json_schema_extra=example(
            outputs=[
                {
                    "number": 1,
                    "name": "gate",
                    "gate": "slip-gate",
                    "allowed": True,
                    "warning": {"output": 2, "name": "horn", "seconds": 5.0},
                }
            ],
            cautions=list(CAUTIONS),
        )
    )

    outputs: list[SettingOutputAnswer]
    cautions: list[str] = _CAUTIONS
