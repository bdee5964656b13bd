"""A slot's record: the bytes that stand in the registers, and the little the receiver itself reads in them.

The bytes are kept as they were written, so that what a writer reads back is what it wrote. Where the fields lie
comes from the map. Encodings: docs/register-map.md, "Slot rules".
"""

from __future__ import annotations

from dataclasses import dataclass

from gateway.maps import Block

__all__ = ["Record", "SlotForm"]

Outputs = tuple[frozenset[int], ...]


@dataclass(frozen=True, slots=True)
class Record:
    """An occupied slot. `outputs` has one entry per position, position 1 first."""

    raw: bytes
    serial: int
    outputs: Outputs


class SlotForm:
    """Reads and makes records of one map."""

    def __init__(self, block: Block) -> None:
        self._block = block
        field = block.fields["outputs"]
        self._from, self._to = field.start_bit // 8, (field.start_bit + field.size_bits) // 8
        self.positions = field.count
        self.size = block.record_bytes

    def number_of(self, raw: bytes) -> int:
        """The slot number that a record begins with."""
        number = self._block.fields["number"].decode(raw)
        assert isinstance(number, int)
        return number

    def read(self, raw: bytes) -> Record | None:
        """The record; None when it has no serial or no outputs, which stands for a free slot."""
        serial = self._block.fields["serial"].decode(raw)
        outputs = self._block.fields["outputs"].decode(raw)
        assert isinstance(serial, int)
        assert isinstance(outputs, tuple)
        groups = tuple(group for group in outputs if isinstance(group, frozenset))
        return Record(raw, serial, groups) if serial and any(groups) else None

    def empty(self, number: int) -> bytes:
        """What a free slot shows on the wire: its number and zeros."""
        return self._block.encode({"number": number})

    def new(self, number: int, serial: int, outputs: Outputs) -> Record:
        """A record as learned at the board: no kind, no name."""
        raw = self._block.encode({"number": number, "serial": serial, "outputs": outputs})
        return Record(raw, serial, outputs)

    def with_outputs(self, old: Record, outputs: Outputs) -> Record | None:
        """The record with other outputs, every other byte as it was; None when no output is left."""
        if not any(outputs):
            return None
        full = self._block.encode({"outputs": outputs})
        raw = old.raw[: self._from] + full[self._from : self._to] + old.raw[self._to :]
        return Record(raw, old.serial, outputs)
