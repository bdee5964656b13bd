"""The session of somebody at the page."""

from __future__ import annotations

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Time, example

__all__ = ["SessionAnswer"]


class SessionAnswer(Answer):
    """Who asks, and what they may do."""

    model_config = ConfigDict(
        json_schema_extra=example(
            name="harbour office desk",
            scopes=["roster", "view"],
            gateway="fennel-quay",
            time_zone="Europe/London",
            callers={"token:1f9c": "harbour office desk"},
            expires="2026-03-02T20:00:00.000Z",
        )
    )

    name: str = Field(description="The token's name; empty for a process on the board.")
    scopes: list[str]
    gateway: str
    time_zone: str = Field(description="The site's zone, in which people are shown times.")
    callers: dict[str, str] = Field(
        description="What tokens are called, by how those who asked with them are kept (`asked_by`, `ended_by`, ...); "
        "empty without the scope `roster` or `operate`."
    )
    expires: Time | None = Field(
        description="When the session ends if nothing more is asked; null for a token and on the board."
    )
