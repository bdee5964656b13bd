"""Slot records: bytes to a Slot and back, and the CRC-32 of a block of them.

The CRC is the one of zlib over the register bytes of a block's slots as on the wire, empty ones as zero bytes
(docs/register-map.md). It must come out the same as the receiver's for anything the receiver may hold, also for what
a Slot does not show (damaged names, bits between the fields). So the bytes of each slot that was read are kept
beside it; after a restart such a block differs once, is read again and agrees.
"""

from __future__ import annotations

import zlib
from collections.abc import Collection, Mapping, Sequence

from gateway.domain.receiver import Limits, Slot
from gateway.errors import WrongAnswer
from gateway.maps import Block, FieldType, Value

__all__ = ["SlotCodec", "fit_text"]


def fit_text(text: str, room_bytes: int) -> str:
    """The text as a memory of so many bytes keeps it: no control characters, cut on a character's border."""
    shown = "".join(letter for letter in text if letter >= " " and not "\x7f" <= letter <= "\x9f").strip()
    return shown.encode("utf-8", "replace")[:room_bytes].decode("utf-8", "ignore").rstrip()


class SlotCodec:
    """The slot records of one receiver."""

    def __init__(self, block: Block) -> None:
        self._block = block
        self._fields = dict(block.fields)
        name = self._fields.get("name")
        self.name_bytes = name.size_bits // 8 if name is not None and name.type is FieldType.TEXT else 0
        self._empty = bytes(block.record_bytes)
        self._known: dict[int, tuple[Slot | None, bytes]] = {}

    def decode(self, raw: bytes, number: int, positions: int) -> Slot | None:
        """The slot in a record, None when it is free (no serial or no outputs).

        Raises WrongAnswer when it is another slot's record.
        """
        fields = self._fields
        told = fields["number"].decode(raw)
        if told != number:
            raise WrongAnswer(
                f"The record of slot {number} was asked and that of slot {told!r} came.",
                remedy="Look for a second master on the line, or for a receiver that answers later than its map says.",
            )
        known = self._known.get(number)
        if known is not None and known[1] == raw:
            return known[0]
        outputs = _groups(fields["outputs"].decode(raw), positions)
        slot = self._slot(raw, number, outputs) if any(outputs) and fields["serial"].decode(raw) else None
        if slot is not None or raw != self._freed(number):
            self._known[number] = (slot, raw)
        else:
            self._known.pop(number, None)
        return slot

    def encode(self, slot: Slot) -> bytes:
        """The slot's record. Raises ValueError when something doesn't fit."""
        known = self._known.get(slot.number)
        if known is not None and known[0] == slot:
            return known[1]
        raw = self._fresh(slot)
        self._known[slot.number] = (slot, raw)
        return raw

    def records(self, slots: Sequence[Slot], freed: Collection[int]) -> bytes:
        """Whole records for writing, ascending by number; a freed slot is its number and zeros."""
        written = {slot.number: self._fresh(slot) for slot in slots}
        written |= {number: self._freed(number) for number in freed}
        for number in written:
            self._known.pop(number, None)
        return b"".join(written[number] for number in sorted(written))

    def block_crc(self, limits: Limits, block: int, slots: Mapping[int, Slot]) -> int:
        """What the receiver must state for this block if it holds exactly these slots."""
        return zlib.crc32(b"".join(self._stands(number, slots.get(number)) for number in limits.slots_of(block)))

    def forget(self) -> None:
        """The memory was cleared: nothing that was read of it counts any more."""
        self._known.clear()

    def _stands(self, number: int, slot: Slot | None) -> bytes:
        if slot is not None:
            return self.encode(slot)
        known = self._known.get(number)
        return known[1] if known is not None and known[0] is None else self._empty

    def _slot(self, raw: bytes, number: int, outputs: tuple[frozenset[int], ...]) -> Slot:
        fields = self._fields
        values = {
            name: fields[name].decode(raw) for name in ("serial", "kind", "flags", "name", "opaque") if name in fields
        }
        name, opaque = values.get("name", ""), values.get("opaque", b"")
        return Slot(
            number=number,
            serial=_int(values.get("serial", 0)),
            kind=_int(values.get("kind", 0)),
            outputs=outputs,
            name=fit_room(name, self.name_bytes) if isinstance(name, str) else "",
            flags=_int(values.get("flags", 0)),
            opaque=opaque if isinstance(opaque, bytes) else b"",
        )

    def _fresh(self, slot: Slot) -> bytes:
        values: dict[str, Value] = {"number": slot.number, "serial": slot.serial, "outputs": slot.outputs}
        values |= {"kind": slot.kind, "flags": slot.flags, "name": slot.name, "opaque": slot.opaque}
        unkept = [name for name, value in values.items() if value and name not in self._fields]
        if unkept:
            raise ValueError(f"slot {slot.number}: this memory does not keep its {', '.join(unkept)}")
        return self._block.encode({name: value for name, value in values.items() if name in self._fields})

    def _freed(self, number: int) -> bytes:
        return self._block.encode({"number": number})


def fit_room(name: str, room_bytes: int) -> str:
    """A damaged name may have grown by its replacement characters; cut it so that it could be written again."""
    raw = name.encode("utf-8")
    return name if len(raw) <= room_bytes else raw[:room_bytes].decode("utf-8", "ignore")


def _int(value: Value) -> int:
    return value if isinstance(value, int) else 0


def _groups(value: Value, positions: int) -> tuple[frozenset[int], ...]:
    """One group per position that the receiver has; more when it holds rights beyond them, so none is hidden."""
    groups = tuple(group for group in value if isinstance(group, frozenset)) if isinstance(value, tuple) else ()
    return groups[:positions] if not any(groups[positions:]) else groups
