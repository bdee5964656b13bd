"""What outputs are called: in the settings file, and in use."""

from __future__ import annotations

from pydantic import ConfigDict, Field

from gateway.api.models.base import NUMBER_AS_NAME, Answer, Body, example

__all__ = ["NamedOutputAnswer", "OutputNamesAnswer", "OutputNamesBody", "OutputNamesChangeAnswer"]

_OUTPUT = {"number": 1, "in_settings": "gate", "in_use": "slip", "former": ["slipway"]}


class NamedOutputAnswer(Answer):
    """One output."""

    number: int
    in_settings: str = Field(description="What the settings file calls it; empty when it doesn't.")
    in_use: str = Field(description="What it is called now, everywhere; empty: by its number alone.")
    former: list[str] = Field(
        description="Names that it had before, oldest first. Rosters may still write them, as they may the settings "
        "file's name, as long as no other output is called so."
    )


class OutputNamesAnswer(Answer):
    """Every output of a receiver, by number. The names are the gateway's own; no receiver keeps any."""

    model_config = ConfigDict(json_schema_extra=example(outputs=[_OUTPUT]))

    outputs: list[NamedOutputAnswer]


class OutputNamesBody(Body):
    """New names by the output's number; outputs that are left out stay as they are called."""

    model_config = ConfigDict(json_schema_extra=example(names={"1": "slip"}))

    names: dict[int, str] = Field(
        min_length=1,
        max_length=64,
        json_schema_extra={"propertyNames": {"pattern": NUMBER_AS_NAME}},
        description="1 to 32 characters without blanks and without : / , ; and markup, not digits alone; an empty name "
        "goes back to the settings file's.",
    )


class OutputNamesChangeAnswer(Answer):
    """Before and after."""

    model_config = ConfigDict(
        json_schema_extra=example(
            before={"outputs": [_OUTPUT | {"in_use": "slipway", "former": []}]}, after={"outputs": [_OUTPUT]}
        )
    )

    before: OutputNamesAnswer
    after: OutputNamesAnswer
