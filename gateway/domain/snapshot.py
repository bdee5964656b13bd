"""A snapshot: an archive of one receiver at one moment."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from gateway.domain.receiver import Identity, Limits, OutputMode, ReceiverSettings, Slot

__all__ = ["Snapshot"]


@dataclass(frozen=True, slots=True)
class Snapshot:
    """Identity, settings and slots at `revision`. Never holds the link password.

    `reason` says why it was taken: `plan`, `timetable`, `asked`, `reset`.
    """

    id: str
    receiver: str
    taken: datetime
    clock_trusted: bool
    reason: str
    identity: Identity
    limits: Limits
    revision: int
    slots: tuple[Slot, ...]
    block_crcs: tuple[int, ...]
    settings: ReceiverSettings | None
    output_modes: tuple[OutputMode, ...] | None
