"""A receipt: at this time this receiver's memory was proven equal to what this roster wants of it.

It names no person and no transmitter: whoever has the roster and the receiver's map can work out what the block CRCs
must be, and nobody else learns who has access. So it can be shown to anybody, and kept for long.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from gateway.domain.receiver import Identity

__all__ = ["Receipt"]


@dataclass(frozen=True, slots=True)
class Receipt:
    """What is stated, before it is numbered and signed.

    `revision` and `block_crcs` are those of the receiver's memory, `block_slots` how many slots a block has,
    `transmitters` how many slots were held. `written` counts the slots that the plan had to write, 0 when all was
    equal already. `not_done` counts what the roster names and the plan left out by rule (revoked, dates while the
    clock was not known to be right, positions that a kind lacks, transmitters that are only reported).
    `roster_revision` is a signed roster's number, None for an unsigned one. `uptime_s` is the monotonic clock of the
    start `boot_id`: it keeps order and gaps true when `time` is not known to be right (`clock_trusted` False).
    """

    site: str
    receiver: str
    identity: Identity
    revision: int
    block_slots: int
    block_crcs: tuple[int, ...]
    transmitters: int
    roster_digest: str
    roster_revision: int | None
    plan: str
    written: int
    not_done: int
    time: datetime
    clock_trusted: bool
    boot_id: str
    uptime_s: float
