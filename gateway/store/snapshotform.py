"""What a snapshot's file must look like before anything of it is believed, when it comes from outside.

`snapshot.schema.json` says the same to everybody else; tests hold the two together. Beyond the schema stands what one
field says about another: slots in order and within the limits, one sum per block. The checksum is not of this file.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from gateway.domain.snapshot import Snapshot
from gateway.domain.transmitter import MAX_SERIAL
from gateway.domain.wrong_value import tell_key

__all__ = ["form_fault", "sense_fault"]

_Count = Annotated[int, Field(ge=0)]
_Number = Annotated[int, Field(ge=1)]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class _Identity(_Strict):
    maker: str
    product: str
    version: str
    serial: str
    map_name: str
    map_version: _Count


class _Limits(_Strict):
    outputs: _Count
    inputs: _Count
    slots: _Count
    positions: _Count
    on_time_min_s: _Count
    on_time_max_s: _Count
    name_bytes: _Count
    block_slots: _Count
    ring: _Count


class _Settings(_Strict):
    on_times_s: list[_Count]
    local_programming: bool
    password_set: bool


class _Slot(_Strict):
    number: _Number
    serial: Annotated[str, Field(pattern=r"^[0-9]{10}$")]
    kind: _Count
    outputs: list[list[_Number]]
    name: str
    flags: _Count
    opaque: Annotated[str, Field(pattern=r"^([0-9a-f]{2})*$")]


class _Document(_Strict):
    format: Literal["gatepost-snapshot"]
    version: Annotated[int, Field(ge=1, le=1)]  # a Literal would take true for 1
    id: Annotated[str, Field(pattern=r"^[0-9]{8}T[0-9]{6}Z-[0-9]{3,}-[A-Za-z0-9_.-]+$")]
    receiver: Annotated[str, Field(min_length=1)]
    taken: str
    clock_trusted: bool
    reason: str
    identity: _Identity
    limits: _Limits
    revision: _Count
    block_crcs: list[Annotated[int, Field(ge=0, le=0xFFFF_FFFF)]]
    settings: _Settings | None
    output_modes: list[Literal["latching", "timed", "momentary"]] | None
    slots: list[_Slot]
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]


def form_fault(document: Any) -> str:
    """The first place where a document departs from the schema, in words; empty when it doesn't."""
    try:
        _Document.model_validate(document)
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        place = "/".join(str(step) for step in first["loc"]) or "the document"
        return f"{place}: {tell_key(first['type'], first.get('ctx', {}), first['input'], first['msg'])}"
    twice = next((slot["number"] for slot in document["slots"] if any(_twice(g) for g in slot["outputs"])), None)
    return f"slot {twice} names an output twice on one position" if twice is not None else ""


def sense_fault(snapshot: Snapshot) -> str:
    """What contradicts itself in a snapshot, in words; empty when nothing does."""
    return next(_nonsense(snapshot), "")


def _nonsense(snapshot: Snapshot) -> Iterator[str]:
    limits = snapshot.limits
    numbers = [slot.number for slot in snapshot.slots]
    if numbers != sorted(set(numbers)):
        yield "its slots are not in rising order"
    if numbers and max(numbers) > limits.slots:
        yield f"slot {max(numbers)} is beyond its own limit of {limits.slots}"
    if limits.slots and not limits.block_slots:
        yield "its blocks have no slots"
    elif limits.slots and len(snapshot.block_crcs) not in (0, limits.blocks):
        yield f"it has {len(snapshot.block_crcs)} block CRCs for {limits.blocks} blocks"
    for slot in snapshot.slots:
        if not 0 < slot.serial <= MAX_SERIAL:
            yield f"slot {slot.number} has a serial that no transmitter can have"
        if not slot.pairs:
            yield f"slot {slot.number} works nothing; such a slot does not exist"
    if snapshot.settings is not None and len(snapshot.settings.on_times_s) != limits.outputs:
        yield f"it has {len(snapshot.settings.on_times_s)} on-times for {limits.outputs} outputs"
    if not all(text.isprintable() for text in (snapshot.receiver, snapshot.reason, snapshot.identity.serial)):
        yield "a name in it has characters that can't be printed"


def _twice(group: list[int]) -> bool:
    return len(set(group)) != len(group)
