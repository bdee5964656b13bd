"""Whether receivers hold what the roster says."""

from __future__ import annotations

from typing import Literal

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, example

__all__ = ["AgreementAnswer", "AgreementsAnswer"]


class AgreementAnswer(Answer):
    """One receiver against the roster in force.

    `equal` is proven: its memory was read at the revision that it states now, and the roster wants nothing else.
    """

    model_config = ConfigDict(
        json_schema_extra=example(
            receiver="slip-gate",
            state="differs",
            sentence="1 change waits: 1 transmitter to add.",
            added=1,
            changed=0,
            removed=0,
            slots_used=317,
            revision=412,
        )
    )

    receiver: str
    state: Literal["equal", "differs", "waits", "unknown"] = Field(
        description="`waits`: somebody restored or cleared it, and the roster waits for approval."
    )
    sentence: str
    added: int
    changed: int
    removed: int
    slots_used: int | None = Field(description="Transmitters that it holds; null before its memory was read.")
    revision: int | None = Field(description="The revision at which its memory was read last.")


class AgreementsAnswer(Answer):
    """Every receiver that has a memory for transmitters."""

    agreements: list[AgreementAnswer]
    next: str | None = Field(description="The next page's cursor; null on the last one.")
