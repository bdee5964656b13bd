"""Snapshots: what is archived of receivers, and how two of them differ."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Body, Query, Serial, Time, example

__all__ = [
    "ComparisonAnswer",
    "ComparisonBody",
    "DifferenceAnswer",
    "ReceiverSnapshotsQuery",
    "SnapshotAnswer",
    "SnapshotDocument",
    "SnapshotsAnswer",
    "SnapshotsQuery",
]

_HEAD: dict[str, Any] = {
    "id": "20260302T080000Z-001-slip-gate",
    "receiver": "slip-gate",
    "taken": "2026-03-02T08:00:00.000Z",
    "clock_trusted": True,
    "reason": "timetable",
    "serial": "FQ-0001",
    "revision": 412,
    "slots": 318,
}


class ReceiverSnapshotsQuery(Query):
    """Which page of one receiver's."""

    cursor: str | None = Field(default=None, max_length=300)
    limit: int = Field(default=20, ge=1, le=100)


class SnapshotsQuery(ReceiverSnapshotsQuery):
    """Which snapshots; newest first."""

    receiver: str | None = None


class SnapshotAnswer(Answer):
    """A snapshot without its slots."""

    model_config = ConfigDict(json_schema_extra=example(**_HEAD))

    id: str
    receiver: str = Field(description="The receiver's name; one of another site begins with `import.`.")
    taken: Time
    clock_trusted: bool
    reason: str = Field(description="`plan`, `timetable`, `asked` or `reset`.")
    serial: str = Field(description="The receiver's own serial.")
    revision: int
    slots: int = Field(description="How many transmitters stand in it.")


class SnapshotsAnswer(Answer):
    """A page of snapshots. `next` is the next page's cursor, null on the last one."""

    model_config = ConfigDict(json_schema_extra=example(snapshots=[_HEAD], next=None))

    snapshots: list[SnapshotAnswer]
    next: str | None


class SnapshotDocument(Body):
    """A snapshot's file as it was exported. docs/snapshots.md and its JSON Schema describe every field."""

    model_config = ConfigDict(
        json_schema_extra=example(
            format="gatepost-snapshot",
            version=1,
            id="20260302T080000Z-001-slip-gate",
            receiver="slip-gate",
            taken="2026-03-02T08:00:00+00:00",
            clock_trusted=True,
            reason="plan",
            identity={"serial": "FQ-0001"},
            limits={"slots": 1024},
            revision=412,
            slots=[],
            block_crcs=[],
            settings=None,
            output_modes=None,
            sha256="0" * 64,
        )
    )

    format: Literal["gatepost-snapshot"]
    version: Literal[1]
    id: str
    receiver: str
    taken: str
    clock_trusted: bool
    reason: str
    identity: dict[str, Any]
    limits: dict[str, Any]
    revision: int
    slots: list[dict[str, Any]]
    block_crcs: list[int]
    settings: dict[str, Any] | None
    output_modes: list[str] | None
    sha256: str


class ComparisonBody(Body):
    """Two sides, each the id of a snapshot, or the name of a receiver for what it holds now."""

    model_config = ConfigDict(json_schema_extra=example(left="20260302T080000Z-001-slip-gate", right="slip-gate"))

    left: str = Field(min_length=1)
    right: str = Field(min_length=1)


class DifferenceAnswer(Answer):
    """One transmitter that differs. `added` is only on the right side, `missing` only on the left one."""

    kind: Literal["added", "missing", "changed"]
    serial: Serial
    slot: int = Field(description="Where it stands on the right side; on the left one when it is missing there.")
    words: str


class ComparisonAnswer(Answer):
    """What the right side has otherwise. What no restore can set stands in `modes`, `limits` and `notes`."""

    model_config = ConfigDict(
        json_schema_extra=example(
            left="snapshot 20260302T080000Z-001-slip-gate",
            right="slip-gate",
            alike=False,
            slots=[
                {
                    "kind": "missing",
                    "serial": "0048231907",
                    "slot": 118,
                    "words": "slot 118: Berth 12 (transmitter 0048231907) is missing in slip-gate: "
                    "position 1 works output 1 (gate).",
                }
            ],
            settings=["output 1 (gate) stays closed for 8 s instead of 5 s."],
            modes=[],
            limits=[],
            notes=[],
        )
    )

    left: str
    right: str
    alike: bool = Field(description="Neither slots nor settings differ.")
    slots: list[DifferenceAnswer]
    settings: list[str]
    modes: list[str]
    limits: list[str]
    notes: list[str]
