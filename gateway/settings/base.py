"""What all parts of the settings share: strict and frozen, unknown keys refused, and how names look."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

__all__ = ["DriftWord", "Name", "Strict"]

Name = Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,31}$")]
DriftWord = Literal["report", "remove", "adopt"]


class Strict(BaseModel):
    """A table of the file."""

    model_config = ConfigDict(extra="forbid", frozen=True)
