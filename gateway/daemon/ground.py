"""What every part of the running gateway stands on: settings, the parts built from them, store and clock."""

from __future__ import annotations

from dataclasses import dataclass

from gateway.clock import Clock
from gateway.daemon.parts import Parts
from gateway.settings import Settings
from gateway.store.opening import Store
from gateway.system.trust import ClockTrust

__all__ = ["Ground"]


@dataclass(frozen=True, slots=True)
class Ground:
    """Handed to the builders of this package and to nobody else."""

    settings: Settings
    parts: Parts
    store: Store
    clock: Clock
    trust: ClockTrust
