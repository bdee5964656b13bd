"""Which records go into one read: runs of neighbours, with small gaps read along.

A gap is worth reading along when its bytes take less time than the frame that it saves. Frames are planned one
by one, because the line may want shorter ones as soon as somebody polls.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from gateway.line import Timing

__all__ = ["FRAME_BYTES", "TURNAROUND_S", "Run", "gap_worth", "next_run"]

FRAME_BYTES = 8 + 5  # a read request, and its answer without data (V1.1b3, sections 6.3 and 6.4; RTU: 2.5.1)
TURNAROUND_S = 0.001  # how soon a receiver typically begins to answer a read; our choice


@dataclass(frozen=True, slots=True)
class Run:
    """`count` neighbours from `first` on."""

    first: int
    count: int


def gap_worth(timing: Timing, record_bytes: int) -> int:
    """How many unwanted records take no longer on the wire than another frame does."""
    frame_s = timing.wire_s(FRAME_BYTES) + 2 * timing.silence_s + TURNAROUND_S
    return int(frame_s / timing.wire_s(record_bytes))


def next_run(wanted: Sequence[int], most: int, gap: int) -> Run:
    """The first frame for the sorted numbers `wanted`: at most `most` records, no gap longer than `gap`."""
    first = last = wanted[0]
    for number in wanted[1:]:
        if number - first >= most or number - last - 1 > gap:
            break
        last = number
    return Run(first, last - first + 1)
