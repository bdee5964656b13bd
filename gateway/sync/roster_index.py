"""A roster by receiver and by serial, made once for each roster.

A plan for one receiver looks at that receiver's rows alone: with dozens of receivers and thousands of rows, going
through all of them for each plan would cost more than the wire. Rosters never change, so the last few are remembered
by identity; comparing thousands of rows would cost as much again.
"""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Mapping
from dataclasses import dataclass

from gateway.domain.roster import Entry, Roster

__all__ = ["RosterIndex", "index_of"]


@dataclass(frozen=True, slots=True)
class RosterIndex:
    """`rows` are those with rights at a receiver, by its name in small letters, in the roster's order."""

    rows: Mapping[str, tuple[Entry, ...]]
    by_serial: Mapping[int, Entry]
    listed: frozenset[int]
    holders: Mapping[int, str]

    def rows_of(self, receiver: str) -> tuple[Entry, ...]:
        """The rows with rights at this receiver."""
        return self.rows.get(receiver.casefold(), ())


_REMEMBERED: deque[tuple[Roster, RosterIndex]] = deque(maxlen=4)
"""Each keeps its roster, so that no other one can have the same identity meanwhile."""


def index_of(roster: Roster) -> RosterIndex:
    """The index of a roster, remembered when it is one of the last few."""
    for known, index in tuple(_REMEMBERED):  # whole, whatever another thread adds meanwhile
        if known is roster:
            return index
    index = _make(roster)
    _REMEMBERED.append((roster, index))
    return index


def _make(roster: Roster) -> RosterIndex:
    rows: defaultdict[str, list[Entry]] = defaultdict(list)
    folded: dict[str, str] = {}
    for entry in roster.entries:
        for receiver in dict.fromkeys(right.receiver for right in entry.rights):
            name = folded.get(receiver) or folded.setdefault(receiver, receiver.casefold())
            if not rows[name] or rows[name][-1] is not entry:
                rows[name].append(entry)
    return RosterIndex(
        rows={name: tuple(found) for name, found in rows.items()},
        by_serial=roster.by_serial(),
        listed=frozenset(entry.serial for entry in roster.entries),
        holders={entry.serial: entry.holder for entry in roster.entries},
    )
