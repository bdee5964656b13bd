"""From a block of the map to a Modbus request, and from its answer to the block's fields.

The function code follows from the table and the size: 1 to 4 for reading, 6 for one register, 16 for several
(Modbus Application Protocol V1.1b3, section 6). Nothing here knows what a block means.
"""

from __future__ import annotations

from itertools import pairwise

from gateway.errors import WrongAnswer
from gateway.maps import Block, Role, Table, Value
from gateway.modbus import (
    Answer,
    BitsAnswer,
    ReadCoils,
    ReadDiscreteInputs,
    ReadHoldingRegisters,
    ReadInputRegisters,
    RegistersAnswer,
    Request,
    WriteRegister,
    WriteRegisters,
)

__all__ = ["bytes_of", "decode_block", "read_request", "splits_safely", "write_request"]

_READS: dict[Table, type[ReadCoils | ReadDiscreteInputs | ReadHoldingRegisters | ReadInputRegisters]] = {
    Table.COIL: ReadCoils,
    Table.DISCRETE: ReadDiscreteInputs,
    Table.INPUT: ReadInputRegisters,
    Table.HOLDING: ReadHoldingRegisters,
}


def read_request(block: Block, offset: int = 0, count: int | None = None) -> Request:
    """A read of `count` places from `offset` on; of the whole block (its first record) by default."""
    return _READS[block.table](block.address + offset, block.count if count is None else count)


def write_request(block: Block, data: bytes, offset: int = 0) -> Request:
    """A write of whole registers from `offset` on."""
    address = block.address + offset
    return WriteRegister(address, int.from_bytes(data, "big")) if len(data) == 2 else WriteRegisters(address, data)


def bytes_of(answer: Answer) -> bytes:
    """The register bytes of a read's answer."""
    if isinstance(answer, RegistersAnswer):
        return answer.data
    raise WrongAnswer(
        "The receiver's answer holds no registers where registers were asked.",
        remedy="Check that no second master is on the line.",
    )


def decode_block(block: Block, answer: Answer) -> dict[str, Value]:
    """All fields of a block that was read whole. In a table of bits, a field's `at` counts bits."""
    if isinstance(answer, BitsAnswer):
        return {name: answer.bits[spec.at : spec.at + spec.count] for name, spec in block.fields.items()}
    return block.decode(bytes_of(answer))


def splits_safely(block: Block) -> bool:
    """Whether the block may be read in several frames: block CRCs that stand between their two revisions.

    Equal revisions then prove that nothing changed from the first frame to the last.
    """
    if block.role is not Role.BLOCK_CRCS:
        return False
    places = [block.fields[name].start_bit for name in ("revision", "crcs", "revision_after")]
    return all(first < second for first, second in pairwise(places))
