"""Restoring a snapshot, and what waits afterwards; clearing a receiver for its removal."""

from __future__ import annotations

from typing import Literal

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Body, example
from gateway.api.models.plans import PlanAnswer
from gateway.api.models.receivers import IdentityAnswer

__all__ = ["ApprovalBody", "ResetBody", "RestoreBody", "RestorePreviewAnswer"]


class RestoreBody(Body):
    """Which snapshot, and how it goes into the receiver.

    `restore` brings it back to its own snapshot. `replace` makes it hold another one's; `merge` adds what it lacks and
    lists conflicts. `settings` and `replacement` need the scope `admin`.
    """

    model_config = ConfigDict(
        json_schema_extra=example(snapshot="20260302T080000Z-001-slip-gate", way="restore", settings=True)
    )

    snapshot: str = Field(min_length=1)
    way: Literal["restore", "replace", "merge"] = "restore"
    settings: bool = Field(default=False, description="On-times and local programming too.")
    replacement: str | None = Field(
        default=None,
        description="The serial of a new receiver that is the right one from now on; in a preview it may be empty.",
    )


class RestorePreviewAnswer(Answer):
    """What would be written, and what a person has to do and to know first. Nothing was written."""

    model_config = ConfigDict(
        json_schema_extra=example(
            plan=PlanAnswer.model_config["json_schema_extra"]["examples"][0],  # type: ignore[index]
            board=["Set output 2 (light) to latching at the board; it is timed now."],
            notes=["The snapshot is of the receiver FQ-0001; FQ-0099 answers now."],
            settings=["output 1 (gate) stays closed for 8 s instead of 5 s."],
            answers={
                "maker": "Example",
                "product": "Reference receiver",
                "version": "1.0",
                "serial": "FQ-0099",
                "map_name": "reference",
                "map_version": 1,
            },
            taken_from={
                "maker": "Example",
                "product": "Reference receiver",
                "version": "1.0",
                "serial": "FQ-0001",
                "map_name": "reference",
                "map_version": 1,
            },
            unconfirmed=True,
        )
    )

    plan: PlanAnswer
    board: list[str] = Field(description="What to set at the board first.")
    notes: list[str]
    settings: list[str] = Field(description="Settings that would be set.")
    answers: IdentityAnswer
    taken_from: IdentityAnswer
    unconfirmed: bool = Field(description="It answers in another one's place, and nobody has confirmed it.")


class ApprovalBody(Body):
    """What is right at a receiver where the roster waits.

    `roster`: it goes on from the next run. `snapshot`: what the receiver holds stays until another roster is accepted.
    """

    model_config = ConfigDict(json_schema_extra=example(approve="roster"))

    approve: Literal["roster", "snapshot"]


class ResetBody(Body):
    """The receiver's name once more, typed by hand."""

    model_config = ConfigDict(json_schema_extra=example(name="slip-gate"))

    name: str
