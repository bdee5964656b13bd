"""Why does it not open? The answers."""

from __future__ import annotations

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Query, Serial, Time, example
from gateway.domain.why import Reason

__all__ = ["FindingAnswer", "TransmitterWhyAnswer", "WhyAnswer", "WhyQuery"]

_FINDING = {
    "reason": "did-not-move",
    "sentence": "Slip gate did not move after output gate had worked.",
    "remedy": "Look at the gate: its drive, its power, something in the way.",
    "receiver": "slip-gate",
    "gate": "slip-gate",
    "time": "2026-03-02T08:00:02.000Z",
}


class WhyQuery(Query):
    """Whose transmitters: the holder's name as the roster has it, or a serial."""

    holder: str = Field(min_length=1, max_length=200)


class FindingAnswer(Answer):
    """One thing that was found. `time` is null for what is so now."""

    reason: Reason
    sentence: str
    remedy: str
    receiver: str | None
    gate: str | None
    time: Time | None


class TransmitterWhyAnswer(Answer):
    """One transmitter. `answer` is the likeliest of the findings."""

    holder: str
    serial: Serial
    answer: FindingAnswer
    findings: list[FindingAnswer]
    last_heard: Time | None = Field(description="Null when no press of it is kept.")


class WhyAnswer(Answer):
    """Every transmitter of the holder."""

    model_config = ConfigDict(
        json_schema_extra=example(
            transmitters=[
                {
                    "holder": "Berth 12",
                    "serial": "0048231907",
                    "answer": _FINDING,
                    "findings": [_FINDING],
                    "last_heard": "2026-03-02T08:00:01.000Z",
                }
            ]
        )
    )

    transmitters: list[TransmitterWhyAnswer]
