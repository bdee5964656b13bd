"""When two slots are the same; see `domain.matching`."""

from __future__ import annotations

from gateway.domain.matching import same_memory, same_slot

__all__ = ["same_memory", "same_slot"]
