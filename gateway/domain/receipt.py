"""A receipt: at this time this receiver's memory was proven to be this, by this block CRCs, after this was done.

It names no person and no transmitter: whoever has the roster and the receiver's map can work out what the block CRCs
must be, and nobody else learns who has access. So it can be shown to anybody, and kept for long. That a certain
transmitter was taken out it says as a digest of serial and salt: only who was told the salt can tell which one.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

from gateway.domain.receiver import Identity
from gateway.domain.transmitter import write_serial

__all__ = ["Receipt", "ReceiptOf", "revoked_digest"]


class ReceiptOf(StrEnum):
    """What was done and then proven."""

    SYNC = "sync"  # the receiver is equal to the roster in force
    REVOCATION = "revocation"  # transmitters are taken out, whatever the roster says
    RESTORE = "restore"  # it holds what a snapshot of it says, but for what is revoked
    CLONE = "clone"  # it holds what a snapshot of another receiver says, or that merged into its own
    ENROLMENT = "enrolment"  # single transmitters work before the roster has them


@dataclass(frozen=True, slots=True)
class Receipt:
    """What is stated, before it is numbered and signed.

    `revision` and `block_crcs` are those of the receiver's memory, `block_slots` how many slots a block has,
    `transmitters` how many slots were held. `written` counts the slots that had to be written, 0 when all was
    equal already. `not_done` counts what the roster names and a rule left out (revoked, dates while the
    clock was not known to be right, positions that a kind lacks, transmitters that are only reported).
    `roster_digest` is that of the roster in force, empty without one; `roster_revision` a signed roster's number, None
    for an unsigned one; `equal` whether the memory held exactly what that roster wants of it, always so after a sync.
    `plan` is empty for a revocation, `snapshot` for all but restores and clones: what was brought back.
    `revoked` are the digests of the transmitters that a revocation proves to be gone. `uptime_s` is the monotonic clock
    of the start `boot_id`: it keeps order and gaps true when `time` is not known to be right (`clock_trusted` False).
    """

    done: ReceiptOf
    site: str
    receiver: str
    identity: Identity
    revision: int
    block_slots: int
    block_crcs: tuple[int, ...]
    transmitters: int
    roster_digest: str
    roster_revision: int | None
    equal: bool
    plan: str
    written: int
    not_done: int
    time: datetime
    clock_trusted: bool
    boot_id: str
    uptime_s: float
    snapshot: str = ""
    revoked: tuple[str, ...] = ()


def revoked_digest(serial: int, salt: str) -> str:
    """What a receipt says of a revoked transmitter: SHA-256 over `SERIAL:SALT`, in hex.

    Without the salt (128 bits) nobody can try all serials; with it anybody can check one.
    """
    return hashlib.sha256(f"{write_serial(serial)}:{salt}".encode("ascii")).hexdigest()
