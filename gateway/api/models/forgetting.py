"""Forgetting a person: who is meant, and what was taken out."""

from __future__ import annotations

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Body, Query, SentSerial, example

__all__ = ["ForgettingAnswer", "ForgettingBody", "ForgettingQuery"]


class ForgettingQuery(Query):
    """How it is meant."""

    preview: bool = Field(
        default=False, description="True: say who it would be and whether they can be forgotten; take nothing out."
    )


class ForgettingBody(Body):
    """Who is to be forgotten: all transmitters that a roster ever had under a holder's name, or one transmitter."""

    model_config = ConfigDict(json_schema_extra=example(holder="Berth 12"))

    holder: str = Field(default="", max_length=1000)
    serial: SentSerial | None = None


class ForgettingAnswer(Answer):
    """What was taken out, without the name. In a preview nothing was, and only the transmitters are told."""

    model_config = ConfigDict(
        json_schema_extra=example(
            serials=["0048231907"], revoked=["0048231907"], presses=41, events=3, plans=2, history=4, ledger=1,
            snapshots=6, audit=2, files=3,
        )
    )  # fmt: skip

    serials: list[str]
    revoked: list[str] = Field(description="Those of them whose revocation stays in force.")
    presses: int = Field(description="Events of their transmitters that were removed.")
    events: int = Field(description="Other events that named them and no longer do.")
    plans: int
    history: int = Field(description="Rows of rosters and memories of the past that no longer name them.")
    ledger: int = Field(description="Lines of the ledger.")
    snapshots: int
    audit: int = Field(description="Rows of the audit whose personal part is gone; the chain is whole.")
    files: int = Field(description="Copies of old rosters, and files set aside as damaged, that were removed whole.")
