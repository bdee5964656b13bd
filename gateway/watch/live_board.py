"""The state of every receiver at this moment, for whoever asks (`ports.LiveView`).

Memory alone: made anew at every start, written by the pollers, read by everybody. It never waits and never fails,
so state can be shown while the journal can't be written.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from gateway.domain.live import LinkState, LiveReceiver
from gateway.domain.receiver import Limits
from gateway.errors import NotFound

__all__ = ["LiveBoard"]


class LiveBoard:
    """`ports.LiveView`; receivers in the order of the settings, those that no line reaches (`by_hand`) at the end."""

    def __init__(self, names: Iterable[str], now: datetime, *, by_hand: Mapping[str, Limits] | None = None) -> None:
        self._live = {name: LiveReceiver(name, LinkState.CONNECTING, now) for name in names}
        for name, limits in (by_hand or {}).items():
            self._live[name] = LiveReceiver(name, LinkState.BY_HAND, now, limits=limits)

    def receivers(self) -> tuple[LiveReceiver, ...]:
        return tuple(self._live.values())

    def receiver(self, name: str) -> LiveReceiver:
        """Raises NotFound."""
        if name not in self._live:
            known = ", ".join(self._live) or "none"
            raise NotFound(f"There is no receiver {name}.", remedy=f"The settings name: {known}.")
        return self._live[name]

    def update(self, name: str, **changes: Any) -> None:
        """Replace fields of one receiver's state."""
        self._live[name] = replace(self._live[name], **changes)
