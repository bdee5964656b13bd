"""Who answers and what it has room for: identity block, Read Device Identification, the map's own text.

Read Device Identification: Modbus Application Protocol V1.1b3, section 6.21; object 0 is the maker, 1 the
product code, 2 the revision.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from gateway.domain.receiver import Identity, Limits
from gateway.errors import WrongReceiver
from gateway.maps import ReceiverMap, Role, Value
from gateway.receivers.values import number_of, text_of

__all__ = ["check_map_version", "identity_from", "limits_from"]

_OBJECTS = {"maker": 0, "product": 1, "version": 2}
_UPPER_BOUNDS = ("outputs", "inputs", "slots", "positions", "on_time_max_s", "name_bytes", "ring")


def identity_from(receiver_map: ReceiverMap, values: Mapping[str, Value], objects: Mapping[int, bytes]) -> Identity:
    """The identity block's words first, then those of 43/14, then the map's."""

    def word(name: str) -> str:
        told = objects.get(_OBJECTS[name], b"").decode("utf-8", "replace").strip("\0 ")
        return text_of(values, name) or told or receiver_map.text.get(name, "")

    return Identity(
        maker=word("maker"),
        product=word("product"),
        version=word("version"),
        serial=text_of(values, "serial") or "",
        map_name=receiver_map.name,
        map_version=receiver_map.version,
    )


def limits_from(receiver_map: ReceiverMap, values: Mapping[str, Value]) -> Limits:
    """The receiver's own limits, never beyond the map's and never beyond the map's room."""
    limits = receiver_map.limits
    told = {name: number_of(values, name) for name in _UPPER_BOUNDS}
    lower = {name: min(value, getattr(limits, name)) for name, value in told.items() if value is not None}
    limits = replace(limits, **lower)
    least = number_of(values, "on_time_min_s")
    if least is not None:
        limits = replace(limits, on_time_min_s=max(least, limits.on_time_min_s))
    block_slots = number_of(values, "block_slots")
    if block_slots:
        limits = replace(limits, block_slots=block_slots)
    return _within_room(receiver_map, limits)


def _within_room(receiver_map: ReceiverMap, limits: Limits) -> Limits:
    """A map may promise more in its limits than its blocks hold."""
    slots, ring = limits.slots, limits.ring
    if receiver_map.has(Role.SLOTS):
        slots = min(slots, receiver_map.block(Role.SLOTS).records)
    if receiver_map.has(Role.BLOCK_CRCS):
        slots = min(slots, receiver_map.block(Role.BLOCK_CRCS).fields["crcs"].count * limits.block_slots)
    if receiver_map.has(Role.RING):
        ring = min(ring, receiver_map.block(Role.RING).records)
    return replace(limits, slots=slots, ring=ring)


def check_map_version(receiver: str, receiver_map: ReceiverMap, told: int | None) -> None:
    """Raises WrongReceiver when the receiver states another map version than the map."""
    if told is not None and told != receiver_map.version:
        raise WrongReceiver(
            f"{receiver} speaks version {told} of its map, and “{receiver_map.name}” is version "
            f"{receiver_map.version}.",
            remedy="Check that the line and address are this receiver's, or name a map of that version for it.",
        )
