"""Enrolling transmitters, and local overrides until the roster has them; implemented by `sync`, `roster`, `store`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

from gateway.domain.enrolment import Enrolment, EnrolmentWay, Override
from gateway.domain.plan import Plan
from gateway.domain.roster import Entry, Right

__all__ = [
    "Brought",
    "Enrolled",
    "EnrolmentDesk",
    "EnrolmentOrder",
    "OverrideLedger",
    "RosterAdditions",
    "RowForm",
]


@dataclass(frozen=True, slots=True)
class EnrolmentOrder:
    """Whose a confirmed transmitter is. Exactly one of `group`, `rights` and `like` says what it may work.

    `rights` are written as in a roster file. `like` is a holder's name or a serial of the roster, whose rights are
    copied once; its kind is taken too where `kind` is empty.
    """

    serial: int
    holder: str
    kind: str = ""
    group: str = ""
    rights: str = ""
    like: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Brought:
    """What became of bringing overrides to one receiver: a plan, or why there is none yet."""

    receiver: str
    plan: Plan | None = None
    problem: str = ""
    remedy: str = ""


@dataclass(frozen=True, slots=True)
class Enrolled:
    """The rows that were made, as text of a roster file below `header`. `left_out` are sentences.

    `added` is True when they stand in the gateway's own roster already; `overrides` are those put in force at once.
    """

    header: str
    rows: tuple[str, ...]
    entries: tuple[Entry, ...]
    added: bool
    overrides: tuple[Override, ...]
    brought: tuple[Brought, ...]
    left_out: tuple[str, ...]


class EnrolmentDesk(Protocol):
    """Enrolments as people ask for them (implemented by sync/)."""

    async def start(
        self, receiver: str, way: EnrolmentWay, *, serial: int | None = None, seconds: int = 60, asked_by: str
    ) -> Enrolment:
        """The receiver listens when it returns, for at most `seconds` (1 to 60) at a time.

        Raises NotFound, Unsupported, LineError, PeerError, StoreUnavailable, Refused with `enrolment-running`,
        `serial-missing`, `serial-out-of-range`, `receiver-unconfirmed` or `events-behind`.
        """
        ...

    def get(self, receiver: str, enrolment_id: str) -> Enrolment:
        """Raises NotFound."""
        ...

    def of(self, receiver: str) -> tuple[Enrolment, ...]:
        """Those of this receiver that are remembered, newest first. Raises NotFound."""
        ...

    async def finish(self, receiver: str, enrolment_id: str) -> Enrolment:
        """End listening before its time; what is confirmed stays so. Raises NotFound."""
        ...

    async def cancel(self, receiver: str, enrolment_id: str) -> Enrolment:
        """End listening and forget what was confirmed. Raises NotFound."""
        ...

    async def complete(
        self,
        receiver: str,
        enrolment_id: str,
        orders: Sequence[EnrolmentOrder],
        *,
        in_force: bool,
        add: bool,
        asked_by: str,
    ) -> Enrolled:
        """Make rows of confirmed transmitters; with `in_force` let them work at once, with `add` put the rows into
        the roster that the gateway keeps itself.

        Raises NotFound, and Refused with `enrolment-listening`, `enrolment-over`, `not-confirmed`, `serial-known`,
        `holder-missing`, `rights-missing`, `rights-malformed`, `rights-differ`, `no-such-group`, `no-such-kind`,
        `no-such-holder`, `no-such-output` or `roster-elsewhere`; nothing is then changed.
        """
        ...

    def overrides(self) -> tuple[Override, ...]:
        """Those in force, oldest first."""
        ...

    async def withdraw(self, serial: int, *, asked_by: str) -> None:
        """The next run of the roster takes it out again. Raises NotFound, StoreUnavailable."""
        ...


class OverrideLedger(Protocol):
    """What overrides need of the ledger: they outlive the database."""

    async def keep_override(self, override: Override) -> None:
        """Durable when it returns; replaces an earlier one of the same serial."""
        ...

    async def end_override(self, serial: int) -> None: ...

    def overrides(self) -> Mapping[int, Override]:
        """In force, by serial, in the order in which they were made."""
        ...


class RowForm(Protocol):
    """A row as the text of a roster file (implemented by roster/)."""

    @property
    def header(self) -> str:
        """The header row, without an end of line."""
        ...

    def write(self, entry: Entry) -> str:
        """One row, without an end of line; safe to open in a spreadsheet."""
        ...

    def cells(self, entry: Entry) -> Mapping[str, str]:
        """Texts by column, without the serial, as a person would type them."""
        ...

    def read_rights(self, text: str) -> tuple[Right, ...]:
        """Raises Refused with `rights-malformed`."""
        ...


class RosterAdditions(Protocol):
    """The roster that the gateway keeps itself, as far as enrolment needs it."""

    async def add_rows(self, entries: Sequence[Entry], *, asked_by: str) -> None:
        """All of them as one revision, or none. Raises Refused, StoreUnavailable.

        Of an entry with a group the group counts; else its rights are the row's own.
        """
        ...
