"""What a receiver is to hold after a restore or a clone: all of its slots, and its settings when they are asked for."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from gateway.domain.plan import SettingsTarget
from gateway.domain.receiver import Slot

__all__ = ["Target"]


@dataclass(frozen=True, slots=True)
class Target:
    """`slots` is the whole memory: a number that is missing there is to be free.

    `left_out` are sentences about what the snapshot has and this target does not (revoked, no such output, ...).
    """

    slots: Mapping[int, Slot]
    settings: SettingsTarget | None = None
    left_out: tuple[str, ...] = field(default=())
