"""Editing a roster that the gateway keeps itself: bodies and answers."""

from __future__ import annotations

from typing import Annotated

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Body, Query, SentSerial, Time, example
from gateway.api.models.roster import FaultAnswer

__all__ = [
    "EditAnswer",
    "EditQuery",
    "FilesQuery",
    "FirstRosterAnswer",
    "FirstRosterBody",
    "GroupAnswer",
    "GroupBody",
    "GroupsAnswer",
    "PersonBody",
    "PersonChangeBody",
    "RevisionAnswer",
    "RevisionsAnswer",
    "RevisionsQuery",
]

Text = Annotated[str, Field(max_length=1000)]
Right = Annotated[str, Field(max_length=200, pattern=r"^[^\s:/,;]+:[^\s:/,;]+/[^\s:/,;]+$")]
Site = Annotated[str, Field(max_length=100, pattern=r"^\S+$")]
Positions = dict[str, list[Annotated[str, Field(max_length=64)]]]
_REVISION = {
    "number": 12,
    "time": "2026-05-02T14:02:11.000Z",
    "who": "token:t3f9",
    "how": "edited",
    "words": ["Berth 12, transmitter 0048231907: group berth-holders → hoist-crew"],
    "digest": "9f2c",
}
_EDIT = {
    "revision": _REVISION,
    "words": ["Berth 12, transmitter 0048231907: group berth-holders → hoist-crew"],
    "warnings": [],
    "in_force": True,
    "problem": "",
}
_GROUP = {"name": "berth-holders", "rights": {"slip-gate": {"1": ["gate"]}}, "members": 38}


class EditQuery(Query):
    """How an edit is meant."""

    preview: bool = Field(default=False, description="True: say what it would change and whose faults; keep nothing.")


class PersonBody(Body):
    """A new transmitter and who carries it. Its rights are a group's, its own, or a copy of another's as they are now.

    Dates are as in a roster file: `2026-10-31`, or a time with offset.
    """

    model_config = ConfigDict(
        json_schema_extra=example(
            serial="0048231999", holder="Berth 14", group="berth-holders", valid_until="2026-10-31"
        )
    )

    serial: SentSerial
    holder: Text = Field(min_length=1)
    kind: Text = ""
    group: Text = ""
    rights: list[Right] = Field(default=[], max_length=100)
    copy_of: SentSerial | None = Field(default=None, description="Whose rights to copy, once.")
    sites: list[Site] = Field(default=[], max_length=50)
    valid_from: Text = ""
    valid_until: Text = ""
    note: Text = ""


class PersonChangeBody(Body):
    """What is to be different; what is left out stays as it is. An empty text empties the field.

    `everywhere` gives a new holder's name to all transmitters of this person, not to this one alone.
    """

    model_config = ConfigDict(json_schema_extra=example(group="hoist-crew"))

    holder: Text | None = Field(default=None, min_length=1)
    everywhere: bool = False
    kind: Text | None = None
    group: Text | None = None
    rights: list[Right] | None = Field(default=None, max_length=100)
    copy_of: SentSerial | None = None
    sites: list[Site] | None = Field(default=None, max_length=50)
    valid_from: Text | None = None
    valid_until: Text | None = None
    note: Text | None = None


class RevisionAnswer(Answer):
    """One edit that was kept. `how` is `edited`, `imported`, `from-receiver` or `mended` (after damage)."""

    number: int
    time: Time
    who: str
    how: str
    words: list[str] = Field(description="What it changed, before → after.")
    digest: str


class EditAnswer(Answer):
    """What became of an edit. Without `revision` nothing was to change."""

    model_config = ConfigDict(json_schema_extra=example(**_EDIT))

    revision: RevisionAnswer | None
    words: list[str]
    warnings: list[FaultAnswer]
    in_force: bool = Field(description="Whether plans are made from it now; false in a preview.")
    problem: str = Field(description="Why it is not in force yet; empty when it is.")


class RevisionsQuery(Query):
    """Which page of edits."""

    cursor: str | None = Field(default=None, max_length=200)
    limit: int = Field(default=50, ge=1, le=500)


class RevisionsAnswer(Answer):
    """Edits, newest first."""

    model_config = ConfigDict(json_schema_extra=example(edits=[_REVISION], next=None))

    edits: list[RevisionAnswer]
    next: str | None


class GroupAnswer(Answer):
    """A named set of rights, and how many transmitters are in it."""

    model_config = ConfigDict(json_schema_extra=example(**_GROUP))

    name: str
    rights: dict[str, Positions] = Field(description="Outputs by position by receiver.")
    members: int


class GroupsAnswer(Answer):
    """Every group of the roster in force, and the kinds of transmitters that it knows."""

    model_config = ConfigDict(
        json_schema_extra=example(groups=[_GROUP], kinds={"two-button": ["1", "2"]}, editable=True, next=None)
    )

    groups: list[GroupAnswer]
    next: str | None = Field(description="The next page's cursor; null on the last one.")
    kinds: dict[str, list[str]] = Field(description="Position labels by kind.")
    editable: bool = Field(description="Whether this gateway keeps the roster itself.")


class GroupBody(Body):
    """A group as it is to be. With another `name` it is renamed, for all who are in it."""

    model_config = ConfigDict(json_schema_extra=example(rights={"slip-gate": {"1": ["gate"], "2": ["boat-hoist"]}}))

    rights: dict[str, Positions] | None = None
    name: Text | None = Field(default=None, min_length=1)


class FilesQuery(Query):
    """Which revision's file; the newest without."""

    revision: int = Field(default=0, ge=0, le=1_000_000_000)


class FirstRosterBody(Body):
    """Which receivers to read (none named: all), and whether to keep the result as this gateway's own roster."""

    model_config = ConfigDict(json_schema_extra=example(receivers=["slip-gate"], keep=False))

    receivers: list[Annotated[str, Field(max_length=64)]] = Field(default=[], max_length=300)
    keep: bool = False


class FirstRosterAnswer(Answer):
    """A roster that wants exactly what the receivers hold. Nothing was written to any of them."""

    model_config = ConfigDict(
        json_schema_extra=example(
            roster="serial,holder,kind,group\n0048231907,Berth 12,,gate-3fa2c1\n",
            groups='[groups.gate-3fa2c1]\nslip-gate = {1 = ["gate"]}\n',
            transmitters=1,
            holders=1,
            unnamed=0,
            group_names=["gate-3fa2c1"],
            notes=[],
            edit=None,
        )
    )

    roster: str
    groups: str
    transmitters: int
    holders: int
    unnamed: int
    group_names: list[str]
    notes: list[str] = Field(description="What a roster can't say; a plan will not be empty there.")
    edit: EditAnswer | None = Field(description="The first revision, when it was to be kept.")
