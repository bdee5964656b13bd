"""The central file: where it comes from, how it is read and kept; implemented by `roster` and `sync`."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Protocol

from gateway.domain.roster import Fault, Right, Roster
from gateway.ports.memory import RosterAcceptance

__all__ = [
    "Fetched",
    "FetchedRevocations",
    "ListedRevocation",
    "NotModified",
    "ReceiverFacts",
    "RevocationListSource",
    "RosterArchive",
    "RosterCheck",
    "RosterDesk",
    "RosterReader",
    "RosterSource",
    "RosterState",
    "rights_now",
]


@dataclass(frozen=True, slots=True)
class Fetched:
    """The bytes of the roster file and of its group file (None when there is none), and what to ask with next.

    Where signatures are asked for, they come along (None when there is none), and once they are verified `revision`
    is what they state. The same files are equal whoever signed them.
    """

    roster: bytes
    groups: bytes | None
    tag: str
    signature: bytes | None = field(default=None, compare=False)
    groups_signature: bytes | None = field(default=None, compare=False)
    revision: int | None = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class NotModified:
    """The source says that nothing changed since the tag."""


class RosterSource(Protocol):
    """Where the central file comes from."""

    @property
    def place(self) -> str:
        """Path or address for people, without credentials."""
        ...

    async def fetch(self, tag: str | None) -> Fetched | NotModified:
        """Raises SourceUnreachable, SourceRefused (too large, wrong type, redirect ...)."""
        ...


@dataclass(frozen=True, slots=True)
class ListedRevocation:
    """One line of a revocation list: this serial is revoked, or (`lift`) no longer is."""

    serial: int
    reason: str
    lift: bool = False


@dataclass(frozen=True, slots=True)
class FetchedRevocations:
    """A verified revocation list. `faults` are lines that can't be read; those in `entries` can."""

    entries: tuple[ListedRevocation, ...]
    faults: tuple[Fault, ...]
    revision: int
    digest: str
    tag: str


class RevocationListSource(Protocol):
    """Where the signed revocation list beside the roster comes from."""

    @property
    def place(self) -> str:
        """Path or address for people, without credentials."""
        ...

    async def fetch(self, tag: str | None) -> FetchedRevocations | NotModified:
        """Raises SourceUnreachable, SourceRefused (unsigned, expired, no such list ...)."""
        ...


class RosterArchive(Protocol):
    """The bytes of accepted rosters, so that a restart has the roster in force without its source."""

    async def keep(self, digest: str, fetched: Fetched) -> None:
        """Durable when it returns; the same digest twice is kept once."""
        ...

    async def load(self, digest: str) -> Fetched | None:
        """The bytes behind a digest, None when they are not kept or damaged."""
        ...


@dataclass(frozen=True, slots=True)
class ReceiverFacts:
    """What people call things: a receiver's name, its outputs and its inputs by number.

    A roster is checked and planned against it. Outputs without a name are known by number, up to `output_limit`.
    `also` has other texts, in folded letters, that are read as an output: the names that it had before. Both mappings
    are looked at anew each time: people rename outputs while the gateway runs.
    """

    name: str
    outputs: Mapping[int, str]
    positions: int = 8
    inputs: Mapping[int, str] = field(default_factory=dict)
    output_limit: int = 0
    also: Mapping[str, int] = field(default_factory=dict)

    def output_number(self, text: str) -> int | None:
        """The number of an output given by name, number or earlier name; None when there is no such output."""
        for number, name in self.outputs.items():
            if text.casefold() == name.casefold() or text == str(number):
                return number
        if (number := self.also.get(text.casefold(), 0)) > 0:
            return number
        if text.isascii() and text.isdigit() and len(text) < 4 and 0 < int(text) <= self.output_limit:
            return int(text)
        return None

    def output_text(self, number: int) -> str | None:
        """How a roster writes an output: by name, else by number; None when neither would be read as this output."""
        texts = (self.outputs.get(number, ""), str(number))
        return next((text for text in texts if text and self.output_number(text) == number), None)

    def output_now(self, text: str) -> str:
        """The text by which a roster would write now what it writes so; a number and what is unknown stay."""
        if text.isascii() and text.isdigit():
            return text
        number = self.output_number(text)
        return text if number is None else self.output_text(number) or text


def rights_now(rights: Iterable[Right], facts: Iterable[ReceiverFacts]) -> tuple[Right, ...]:
    """Rights by the names in force, each once: a roster may still write the names that outputs had before."""
    known = {each.name: each for each in facts}
    return tuple(
        dict.fromkeys(
            replace(right, output=known[right.receiver].output_now(right.output)) if right.receiver in known else right
            for right in rights
        )
    )


@dataclass(frozen=True, slots=True)
class RosterCheck:
    """A file read as a whole. `roster` is None when there are faults."""

    roster: Roster | None
    faults: tuple[Fault, ...]
    warnings: tuple[Fault, ...]
    transmitters: int = 0
    holders: int = 0


class RosterReader(Protocol):
    """From bytes to a checked roster."""

    def check(self, roster: bytes, groups: bytes | None, receivers: Sequence[ReceiverFacts] | None) -> RosterCheck:
        """All faults in one pass. `receivers` None leaves receiver and output names unchecked."""
        ...


@dataclass(frozen=True, slots=True)
class RosterState:
    """The roster in force and what the source last said."""

    place: str
    roster: Roster | None
    accepted: RosterAcceptance | None
    last_fetch: datetime | None
    last_good: datetime | None
    problem: str
    remedy: str
    faults: tuple[Fault, ...]
    warnings: tuple[Fault, ...]
    next_run: datetime | None
    unreachable: bool = False


class RosterDesk(Protocol):
    """The roster in force (implemented by sync/)."""

    def state(self) -> RosterState: ...

    async def fetch(self) -> RosterState:
        """Ask the source now. Faults and an unreachable source are in the state, not raised."""
        ...
