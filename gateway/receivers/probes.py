"""Which reads prove, after a time-out, that an answer belongs to its request.

Modbus RTU carries no transaction number: after a time-out a late answer could pass for the next one's. The
line then asks two reads whose answers can be told apart, and which no ordinary request of ours looks like.
"""

from __future__ import annotations

from gateway.maps import Block, ReceiverMap
from gateway.modbus import Request
from gateway.receivers.blocks import read_request

__all__ = ["choose_probes"]


def choose_probes(receiver_map: ReceiverMap) -> tuple[Request, Request] | None:
    """Two open reads with distinct answers; None when the map has no room for that (a few bits in one block)."""
    candidates: list[Request] = []
    for block in receiver_map.status_blocks:
        candidates += [read_request(block, count=count) for count in _counts(block, receiver_map)]
    for first in candidates:
        for second in candidates:
            if first.answer_head != second.answer_head:
                return first, second
    return None


def _counts(block: Block, receiver_map: ReceiverMap) -> list[int]:
    """Sizes for reads of a status block: those that no other read of ours has come first, then any."""
    if block.table.of_bits:
        return [count for count in (block.count, block.count - 8) if count > 0]
    counts = range(block.count, 0, -1)
    others = [other for other in receiver_map.blocks if not other.table.of_bits and other.readable]
    unlike = [count for count in counts if all(count % other.count for other in others)]
    return unlike[:2] if len(unlike) > 1 else list(counts)[:2]
