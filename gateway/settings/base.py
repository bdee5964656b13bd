"""What all parts of the settings share: strict and frozen, unknown keys refused, and how names look.

TOML says itself what is text, a number, true or false, so nothing is guessed here: `baud = "19200"` and `echo = "yes"`
are faults that are told, for a file that means something else than it says helps nobody.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from enum import Enum
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, Literal, Self, Union, get_args, get_origin

from pydantic import BaseModel, ConfigDict, Field, ValidationInfo, field_validator, model_validator
from pydantic_core import PydanticKnownError

__all__ = ["WITHOUT_RULES", "DriftWord", "Misfits", "Name", "Strict", "refuse"]

Name = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,31}$")]
DriftWord = Literal["report", "remove", "adopt"]


#: The context of a reading that is satisfied when each key is right by itself.
WITHOUT_RULES: Mapping[str, bool] = {}


class Misfits(ValueError):
    """Everything that is wrong by rules in one place of the file, so that none of it hides another.

    Each of `faults` says what to write; one that begins with a key (`line is needed`, `operate: ...`) is told there.
    """

    def __init__(self, faults: Iterable[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(self.faults))


def refuse(faults: Iterable[str]) -> None:
    """Raises Misfits when there is a fault among them."""
    if found := tuple(faults):
        raise Misfits(found)


class Strict(BaseModel):
    """A table of the file."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    def _misfits(self) -> Iterable[str]:
        """What is wrong between the keys of this table; asked when each of them is right by itself."""
        return ()

    @model_validator(mode="after")
    def _fits(self, info: ValidationInfo) -> Self:
        if info.context is not WITHOUT_RULES:
            refuse(self._misfits())
        return self

    @field_validator("*", mode="before")
    @classmethod
    def _as_it_is_written(cls, value: Any, info: ValidationInfo) -> Any:
        if info.field_name is not None:
            _refuse_other_kinds(value, list(_leaves(cls.model_fields[info.field_name].annotation)))
        return value


def _leaves(annotation: Any) -> Iterator[Any]:
    """The single types that a value may have: `Annotated[int, ...] | Literal["none"]` gives int and "none"."""
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from _leaves(get_args(annotation)[0])
    elif origin in (Union, UnionType):
        for option in get_args(annotation):
            yield from _leaves(option)
    elif origin is Literal:
        yield from get_args(annotation)
    else:
        yield annotation


def _refuse_other_kinds(value: Any, leaves: list[Any]) -> None:
    """Raises what pydantic would, had it not turned the value into what is wanted."""
    number: Literal["float_type", "int_type"] = "float_type" if float in leaves else "int_type"
    numbers = float in leaves or int in leaves
    if isinstance(value, bool):
        numbers = numbers or any(isinstance(leaf, int) for leaf in leaves)  # true is no 1
        if numbers and bool not in leaves:
            raise PydanticKnownError(number)
    elif isinstance(value, str):
        if value in leaves or any(isinstance(leaf, type) and issubclass(leaf, str | Path | Enum) for leaf in leaves):
            return
        if numbers:
            raise PydanticKnownError(number)
        if bool in leaves:
            raise PydanticKnownError("bool_type")
    elif isinstance(value, int | float):
        if bool in leaves and not numbers:
            raise PydanticKnownError("bool_type")
        if isinstance(value, float) and int in leaves and float not in leaves:
            raise PydanticKnownError("int_from_float")
