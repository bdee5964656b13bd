"""Access tokens, without their secrets but once."""

from __future__ import annotations

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Body, Time, example
from gateway.api.scopes import Scope

__all__ = ["NewTokenAnswer", "TokenAnswer", "TokenBody", "TokensAnswer"]


class TokenBody(Body):
    """A new token."""

    model_config = ConfigDict(json_schema_extra=example(name="harbour office desk", scopes=["view", "roster"]))

    name: str = Field(min_length=1, max_length=80, pattern=r"^[^\x00-\x1f\x7f]+$")
    scopes: list[Scope] = Field(min_length=1, max_length=4)


class TokenAnswer(Answer):
    """A token as it is kept."""

    id: str
    name: str
    scopes: list[str]
    created: Time


class NewTokenAnswer(TokenAnswer):
    """A new token with its secret, which is shown this once and kept nowhere."""

    model_config = ConfigDict(
        json_schema_extra=example(
            id="t1",
            name="harbour office desk",
            scopes=["roster", "view"],
            created="2026-03-02T08:00:00.000Z",
            secret="example-secret-shown-once",  # noqa: S106 - an example
        )
    )

    secret: str


class TokensAnswer(Answer):
    """Every token."""

    tokens: list[TokenAnswer]
    next: str | None = Field(description="The next page's cursor; null on the last one.")
