"""Which transmitters a holder or a group has: what is to be seen before all of them are revoked.

By the roster in force with the local overrides, and by what receivers hold under that name though no row lists it any
more: somebody who left may still stand in a memory. Names are compared without regard to case and surplus blanks. It
changes nothing.
"""

from __future__ import annotations

from collections.abc import Mapping

from gateway.domain.nearest import nearest_words
from gateway.domain.roster import Entry
from gateway.domain.selection import Selected
from gateway.domain.transmitter import write_serial
from gateway.errors import NotFound
from gateway.ports import Ledger, Mirrors
from gateway.sync.drafting import RosterInForce
from gateway.sync.site import Site

__all__ = ["Selector"]


class Selector:
    """`ports.Selections`."""

    def __init__(self, *, site: Site, rosters: RosterInForce, ledger: Ledger, mirrors: Mirrors) -> None:
        self._site = site
        self._rosters = rosters
        self._ledger = ledger
        self._mirrors = mirrors

    def of_holder(self, holder: str) -> tuple[Selected, ...]:
        """Raises NotFound."""
        rows = self._rows()
        found = {s: entry for s, entry in rows.items() if _plain(entry.holder) == _plain(holder)}
        unlisted = {serial: holder for serial in self._held_as(holder) if serial not in rows}
        if not found and not unlisted:
            near = nearest_words(holder, {entry.holder for entry in rows.values()})
            raise NotFound(
                f"Neither the roster nor any receiver knows a holder {holder}.",
                remedy=f"{near}Write the name as it stands in the roster, or revoke by the serial on the transmitter.",
            )
        return self._selected(found, unlisted)

    def of_group(self, group: str) -> tuple[Selected, ...]:
        """Raises NotFound."""
        in_force = self._rosters.in_force
        known = in_force.roster.groups if in_force else {}
        found = {s: entry for s, entry in self._rows().items() if entry.group and _plain(entry.group) == _plain(group)}
        if not found:
            empty = any(_plain(name) == _plain(group) for name in known)
            raise NotFound(
                f"Nobody is in the group {group}." if empty else f"The roster has no group {group}.",
                remedy=f"The groups of the roster are: {', '.join(known) or 'none'}.",
            )
        return self._selected(found, {})

    def _names(self) -> tuple[str, ...]:
        return (*self._site.names_with_slots(), *self._site.names_by_hand())

    def _rows(self) -> Mapping[int, Entry]:
        return self._rosters.in_force.roster.by_serial() if self._rosters.in_force else {}

    def _held_as(self, holder: str) -> set[int]:
        """The serials that a memory holds under this name, as long as that memory keeps names."""
        held = set()
        for name in self._names():
            mirror = self._mirrors.load(name)
            if mirror is None:
                continue
            fitted = _plain(self._site.receivers[name].fit_name(mirror.limits, holder))
            held |= {slot.serial for slot in mirror.slots.values() if fitted and _plain(slot.name) == fitted}
        return held

    def _selected(self, listed: Mapping[int, Entry], unlisted: Mapping[int, str]) -> tuple[Selected, ...]:
        revoked = self._ledger.revocations()
        chosen = [(serial, entry.holder, entry.group, True) for serial, entry in listed.items()]
        chosen += [(serial, holder, "", False) for serial, holder in unlisted.items()]
        chosen.sort(key=lambda each: (each[1], each[0]))
        return tuple(self._one(*each, revoked=each[0] in revoked) for each in chosen)

    def _one(self, serial: int, holder: str, group: str, listed: bool, *, revoked: bool) -> Selected:
        receivers = tuple(
            name
            for name in self._names()
            if (mirror := self._mirrors.load(name)) is not None and serial in mirror.by_serial()
        )
        words = f"{holder}, transmitter {write_serial(serial)}"
        words += f", held by {', '.join(receivers)}" if receivers else ", held by no receiver"
        words += "" if listed else ", no longer in the roster"
        words += ", revoked already" if revoked else ""
        return Selected(serial, holder, group, listed, receivers, revoked, f"{words}.")


def _plain(text: str) -> str:
    return " ".join(text.split()).casefold()
