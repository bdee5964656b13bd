"""Who changed what, as far as the ring told.

The ring says of a slot or setting that it was changed and by whom (line, board), not to what. The mirror finds out
what. This remembers the first until the second comes. After a loss nothing of what was remembered may be used, for
a newer change can be among what was lost.
"""

from __future__ import annotations

from collections.abc import Iterable

from gateway.domain.receiver import BoardEvent, Origin, RingEntry

__all__ = ["Origins"]


class Origins:
    """The newest known origin per slot, and of the settings. In memory only."""

    def __init__(self) -> None:
        self._slots: dict[int, Origin] = {}
        self._reset: Origin | None = None
        self._settings: Origin | None = None

    def see(self, entries: Iterable[RingEntry]) -> None:
        """Take in ring entries, in their order."""
        for entry in entries:
            if entry.kind is BoardEvent.SLOT:
                self._slots[entry.slot] = entry.origin
            elif entry.kind in (BoardEvent.SETTING, BoardEvent.LOCK):
                self._settings = entry.origin
            elif entry.kind is BoardEvent.RESET:
                self._slots.clear()
                self._reset = self._settings = entry.origin

    def forget(self) -> None:
        """Something was lost: what was remembered may be outdated."""
        self._slots.clear()
        self._reset = self._settings = None

    def of_slot(self, number: int) -> Origin | None:
        """Who changed this slot last; a reset changed all that were not touched after it."""
        return self._slots.get(number, self._reset)

    @property
    def of_settings(self) -> Origin | None:
        return self._settings

    def by_reset(self, number: int) -> bool:
        """True when the newest that is known to have touched this slot is a factory reset."""
        return self._reset is not None and number not in self._slots
