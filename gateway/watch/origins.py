"""Who changed what, as far as the ring told.

The ring says of slots and settings that they were changed and by whom (line, board), not to what. The mirror finds
out what. This remembers the first until the second has been journaled.

A request on the line is one entry that names its lowest slot and says how many it changed (docs/register-map.md, event
`slot`); the board changes one slot at a time and names it. So while the line changed several at once, a slot that
no entry names was among those. After a loss nothing of what was remembered may be used, for a newer change can be
among what was lost.
"""

from __future__ import annotations

from collections.abc import Iterable

from gateway.domain.receiver import BoardEvent, Origin, RingEntry

__all__ = ["Origins"]


class Origins:
    """The newest known origin per slot, and of the settings. In memory only."""

    def __init__(self) -> None:
        self._slots: dict[int, Origin] = {}
        self._several: Origin | None = None
        self._reset: Origin | None = None
        self._settings: Origin | None = None

    def see(self, entries: Iterable[RingEntry]) -> None:
        """Take in ring entries, in their order."""
        for entry in entries:
            if entry.kind is BoardEvent.SLOT:
                self._slots[entry.slot] = entry.origin
                if entry.value > 1:
                    self._several = entry.origin
            elif entry.kind in (BoardEvent.SETTING, BoardEvent.LOCK):
                self._settings = entry.origin
            elif entry.kind is BoardEvent.RESET:
                self.forget()
                self._reset = self._settings = entry.origin

    def forget(self) -> None:
        """Something was lost, or all that was remembered is journaled."""
        self._slots.clear()
        self._several = self._reset = self._settings = None

    def of_slot(self, number: int) -> Origin | None:
        """Who changed this slot last, None when that is not known."""
        if number in self._slots:
            return self._slots[number]
        if self._reset is not None and self._several is not None:
            return self._reset if self._reset is self._several else None
        return self._several or self._reset

    @property
    def of_settings(self) -> Origin | None:
        return self._settings

    @property
    def of_reset(self) -> Origin | None:
        """Who cleared the receiver, None when nothing tells that it was cleared."""
        return self._reset

    def by_reset(self, number: int) -> bool:
        """True when the newest that is known to have touched this slot is a factory reset."""
        return self._reset is not None and self._several is None and number not in self._slots
