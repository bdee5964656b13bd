"""The central file, read and checked: holders, transmitters, groups, validity."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from gateway.domain.transmitter import BUILT_IN_KINDS, Kind

__all__ = ["Entry", "Fault", "Right", "Roster"]


@dataclass(frozen=True, slots=True, order=True)
class Right:
    """One position works one output: position label (`1`, `1+2`), receiver name, output name or number."""

    receiver: str
    position: str
    output: str


@dataclass(frozen=True, slots=True)
class Entry:
    """One row: one transmitter and its holder.

    `rights` are the effective ones (the group's, or the row's own). Dates are inclusive at both ends and mean
    the site's own days; a datetime is aware and means that instant. `sites` empty means all.
    """

    row: int
    serial: int
    holder: str
    kind: str = "any"
    group: str = ""
    rights: tuple[Right, ...] = ()
    sites: tuple[str, ...] = ()
    valid_from: date | datetime | None = None
    valid_until: date | datetime | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Roster:
    """A whole roster. `digest` is the SHA-256, in hex, over the bytes of its file and of its group file.

    `labels` are the names that a receiver keeps for a transmitter where that is not the holder: by receiver, folded,
    and by serial.
    """

    entries: tuple[Entry, ...]
    digest: str
    kinds: Mapping[str, Kind] = field(default_factory=lambda: BUILT_IN_KINDS)
    groups: Mapping[str, tuple[Right, ...]] = field(default_factory=dict)
    labels: Mapping[str, Mapping[int, str]] = field(default_factory=dict)

    def label(self, receiver: str, serial: int) -> str | None:
        """The name that this receiver is to keep for a transmitter; None: its holder's."""
        return self.labels.get(receiver.casefold(), {}).get(serial)

    def by_serial(self) -> dict[int, Entry]:
        """The rows by transmitter; a checked roster holds each serial once."""
        return {entry.serial: entry for entry in self.entries}


@dataclass(frozen=True, slots=True)
class Fault:
    """Something wrong (or doubtful) in a roster file.

    `row` is the number that a spreadsheet shows, header 1; 0 when the file as a whole is meant. `found` says
    what stands there, `remedy` what to write instead. `file` is the file's short name.
    """

    file: str
    row: int
    column: str
    found: str
    remedy: str
