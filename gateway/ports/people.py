"""People: who works what where, and the roster that a gateway keeps itself; implemented by `watch`, `sync`, `roster`
and `store`."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Protocol

from gateway.domain.person import PeopleQuery, Person
from gateway.domain.receiver import Limits, Slot
from gateway.domain.roster import Fault, Roster
from gateway.domain.transmitter import Kind
from gateway.ports.roster import ReceiverFacts

__all__ = [
    "AddRow",
    "Basis",
    "ChangeRow",
    "EditOutcome",
    "FirstRoster",
    "FirstRosters",
    "KeptRosters",
    "Memory",
    "OwnRoster",
    "People",
    "PutFiles",
    "PutGroup",
    "RemoveGroup",
    "RemoveRow",
    "RenameGroup",
    "RosterEdit",
    "RosterEditor",
    "RosterPair",
    "RosterRevision",
]


class People(Protocol):
    """Everybody, whatever the source of the roster (implemented by watch/)."""

    async def find(
        self, query: PeopleQuery, *, after: str = "", limit: int = 100
    ) -> tuple[tuple[Person, ...], int, str]:
        """A page by holder, how many there are on all pages, and the place of the last one ("" on the last page).

        `after` is such a place. Raises StoreUnavailable.
        """
        ...

    async def card(self, serial: int) -> Person:
        """The person who carries this transmitter. Raises NotFound, StoreUnavailable."""
        ...


# --- the roster that a gateway keeps itself ---


@dataclass(frozen=True, slots=True)
class RosterPair:
    """The bytes of a roster file and of its groups file (None: there is none)."""

    roster: bytes
    groups: bytes | None


@dataclass(frozen=True, slots=True)
class AddRow:
    """A new transmitter. `cells` are texts by column of the roster file, without `serial`.

    `copy_of` is a transmitter whose rights this one gets, as they are now (once, not for the future).
    """

    serial: int
    cells: Mapping[str, str]
    copy_of: int | None = None


@dataclass(frozen=True, slots=True)
class ChangeRow:
    """Other texts in these columns of one row; an empty text empties the cell.

    Whoever joins a group has its rights and no longer any of their own; whoever gets rights of their own leaves it.
    """

    serial: int
    cells: Mapping[str, str]
    copy_of: int | None = None


@dataclass(frozen=True, slots=True)
class RemoveRow:
    """A transmitter leaves the roster."""

    serial: int


@dataclass(frozen=True, slots=True)
class PutGroup:
    """A group as it is to be: outputs by position by receiver. Makes it when there is none."""

    name: str
    rights: Mapping[str, Mapping[str, Sequence[str]]]


@dataclass(frozen=True, slots=True)
class RenameGroup:
    """The same group by another name, for all who are in it."""

    name: str
    new: str


@dataclass(frozen=True, slots=True)
class RemoveGroup:
    """A group that nobody is in any more."""

    name: str


@dataclass(frozen=True, slots=True)
class PutFiles:
    """Whole files in place of those that are kept."""

    pair: RosterPair


RosterEdit = AddRow | ChangeRow | RemoveRow | PutGroup | RenameGroup | RemoveGroup | PutFiles


@dataclass(frozen=True, slots=True)
class RosterRevision:
    """One edit that was kept: who, when, how (`edited`, `imported`, `from-receiver`, `mended`), and what it changed."""

    number: int
    time: datetime
    who: str
    how: str
    words: tuple[str, ...]
    digest: str


class KeptRosters(Protocol):
    """Numbered roster files beside the database, and never only in it (implemented by store/)."""

    async def newest(self) -> tuple[RosterRevision, RosterPair] | None:
        """None before the first. Raises StoreUnavailable, and StoreDamaged when it isn't as it was written."""
        ...

    async def keep(self, pair: RosterPair, revision: RosterRevision) -> RosterRevision:
        """Durable when it returns, under the next number, which is in the answer. Raises StoreUnavailable."""
        ...

    async def revisions(self, *, before: int = 0, limit: int = 100) -> tuple[RosterRevision, ...]:
        """Newest first; those below a number (0: from the end)."""
        ...

    async def load(self, number: int) -> RosterPair | None:
        """The files of a revision; None when they are no longer kept or damaged."""
        ...


class RosterEditor(Protocol):
    """Changes roster files as a person would, leaving everything else in them as it is (implemented by roster/)."""

    def edit(self, pair: RosterPair | None, current: Roster | None, edits: Sequence[RosterEdit]) -> RosterPair:
        """The files after these edits, not checked yet. `current` is what `pair` says.

        Raises NotFound, and Refused with `serial-known` or `group-in-use`.
        """
        ...

    def text_form(self, pair: RosterPair, old: RosterPair | None) -> RosterPair:
        """The same roster as CSV and TOML where it is a workbook; text, and what nobody can read, as it is.

        `old` is what stood there before.
        """
        ...

    def book_form(self, pair: RosterPair, form: str) -> bytes:
        """The same roster as a workbook, `xlsx` or `ods`. Raises Refused with `workbook-unfit`."""
        ...

    def first(self, memories: Sequence[Memory]) -> FirstRoster:
        """A roster that wants exactly what these memories hold."""
        ...


@dataclass(frozen=True, slots=True)
class EditOutcome:
    """What became of an edit. With faults nothing was kept; with none and without `revision` nothing would change.

    `problem` says why a kept revision is not in force yet.
    """

    revision: RosterRevision | None
    words: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()
    warnings: tuple[Fault, ...] = ()
    problem: str = ""


Basis = Callable[[str], None]


class OwnRoster(Protocol):
    """The roster that this gateway keeps itself (implemented by sync/).

    Every method raises Refused with `roster-elsewhere` while the settings name another source, and StoreUnavailable.
    """

    @property
    def ours(self) -> bool:
        """Whether the settings say that this gateway keeps the roster."""
        ...

    async def tag(self, subject: str) -> str:
        """Changes when the subject does: `row <serial>`, `group <name>` or `files`. Empty when there is none."""
        ...

    async def edit(
        self,
        edits: Sequence[RosterEdit],
        *,
        who: str,
        how: str = "edited",
        subject: str = "",
        basis: Basis | None = None,
        preview: bool = False,
    ) -> EditOutcome:
        """Check the files with these edits as a whole, keep them as a revision, and put them in force.

        With `preview` nothing is kept: the outcome has the words and faults that the edit would have now.
        `basis` is given the subject's tag before anything is done, while nobody else can edit, and raises when the
        edit was made from something older. Raises as `RosterEditor.edit`, and Refused with `roster-empty`.
        """
        ...

    async def files(self, number: int = 0) -> tuple[RosterRevision, RosterPair]:
        """The files of a revision (0: the newest). Raises NotFound."""
        ...

    async def book(self, form: str, number: int = 0) -> tuple[RosterRevision, bytes]:
        """A revision as one workbook, `xlsx` or `ods`. Raises as `files`, and Refused with `workbook-unfit`."""
        ...

    async def revisions(self, *, before: int = 0, limit: int = 100) -> tuple[RosterRevision, ...]:
        """Newest first."""
        ...


# --- a site already in use ---


@dataclass(frozen=True, slots=True)
class Memory:
    """What one receiver holds, proven, and how its memory keeps kinds and names."""

    facts: ReceiverFacts
    limits: Limits
    slots: tuple[Slot, ...]
    kind_code: Callable[[Kind], int]
    fit_name: Callable[[Limits, str], str]


@dataclass(frozen=True, slots=True)
class FirstRoster:
    """A first roster. `notes` are sentences about what a roster can't say; then the plan will not be empty there."""

    pair: RosterPair
    transmitters: int
    holders: int
    unnamed: int
    groups: tuple[str, ...]
    notes: tuple[str, ...] = field(default=())


class FirstRosters(Protocol):
    """Makes a roster from what the receivers hold; writes nothing to any of them (implemented by sync/)."""

    async def read(self, receivers: Sequence[str] = ()) -> FirstRoster:
        """Read these receivers (none named: all that keep transmitters) anew and write a roster of them.

        Raises NotFound, LineError, PeerError, and Refused with `nothing-held` or `first-roster-faulty`.
        """
        ...

    async def keep(self, first: FirstRoster, *, who: str) -> EditOutcome:
        """As the first revision of the roster that this gateway keeps. Raises Refused with `roster-exists`."""
        ...
