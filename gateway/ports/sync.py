"""Bringing receivers to the roster, revoking and waiting; implemented by `sync`."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Collection, Mapping
from contextlib import AbstractAsyncContextManager
from datetime import datetime
from typing import Literal, Protocol

from gateway.domain.mirror import Mirror
from gateway.domain.plan import Plan
from gateway.domain.receiver import ReceiverSettings
from gateway.domain.revocation import Revocation, RevocationState
from gateway.domain.selection import Selected
from gateway.domain.target import Target
from gateway.domain.wait import RosterWait

__all__ = [
    "Aim",
    "Progress",
    "RestoreRuns",
    "Revocations",
    "RosterWaits",
    "Selections",
    "SettingsDesk",
    "SyncRuns",
    "Timetable",
]

Aim = Callable[[Mirror, Collection[int]], Target]
Progress = Callable[[int, int, str], None]


class Timetable(Protocol):
    """When the roster is fetched and brought to the receivers by itself (implemented by sync/)."""

    def next_run(self) -> datetime | None:
        """The next due time, None without a timetable."""
        ...


class SyncRuns(Protocol):
    """Plans: preview, apply, approve (implemented by sync/)."""

    async def preview(self, receiver: str) -> Plan:
        """What would be written if the roster in force were applied now; nothing is written or kept.

        Raises Refused with `no-roster` or `receiver-unconfirmed`, Unsupported, LineError.
        """
        ...

    def draft(self, mirror: Mirror) -> Plan:
        """The same judged from a mirror alone: no receiver is asked. Raises Refused, NotFound, Unsupported."""
        ...

    async def apply(self, receiver: str, *, approve: bool = False, progress: Progress | None = None) -> Plan:
        """Refresh the mirror, plan, write, prove. Returns the plan as it ended (applied, held or failed)."""
        ...

    async def start(self, receiver: str, *, asked_by: str) -> Plan:
        """Plan now and write in the background; returns the durable plan. One at a time per receiver."""
        ...

    async def approve(self, plan_id: str, *, asked_by: str) -> Plan:
        """Let a held plan go ahead: it is planned again, and refused with `plan-changed` if it would differ."""
        ...

    async def decline(self, plan_id: str, *, asked_by: str, reason: str) -> Plan:
        """Say no to a held plan: it ends, and is not asked again while the roster in force asks for the same."""
        ...

    def progress(self, plan_id: str) -> tuple[int, int, str] | None:
        """Done, total and words of a plan being applied; None when it isn't."""
        ...


class RestoreRuns(Protocol):
    """Writing what a snapshot wants into a receiver, as plans of the usual kind (implemented by sync/)."""

    def draft(self, mirror: Mirror, aim: Aim, *, reason: str) -> Plan:
        """What would be written from this mirror, with the guard's word; nothing is written or kept."""
        ...

    async def start(
        self,
        receiver: str,
        aim: Aim,
        *,
        reason: str,
        snapshot: str,
        asked_by: str,
        before: Callable[[], Awaitable[None]] | None = None,
    ) -> Plan:
        """Let the roster wait, plan and write in the background; returns the durable plan, held where the guard says.

        `before` is awaited first, when nobody else may plan or write any more. Raises as `SyncRuns.start`, and what
        `aim` and `before` raise; nothing is then written.
        """
        ...

    def turn(self, receiver: str) -> AbstractAsyncContextManager[None]:
        """Nobody else plans for this receiver while the body runs. Raises NotFound, Refused with `plan-running`."""
        ...


class RosterWaits(Protocol):
    """The receivers at which the roster waits (implemented by sync/)."""

    def all(self) -> Mapping[str, RosterWait]:
        """By receiver; those that a newer roster has ended are not among them."""
        ...

    async def begin(self, wait: RosterWait) -> None:
        """Durable and told when it returns. Plans of this receiver that waited for approval are superseded."""
        ...

    async def approve(self, receiver: str, what: Literal["roster", "snapshot"], *, asked_by: str) -> None:
        """`roster`: it is brought again from the next run on. `snapshot`: what the receiver holds stays until another
        roster is accepted. Raises NotFound when nothing waits there."""
        ...


class Revocations(Protocol):
    """Revoking and lifting (implemented by sync/)."""

    async def revoke(self, serial: int, *, asked_by: str, reason: str) -> Revocation:
        """In the ledger when it returns; written to the receivers right after, ahead of everything else."""
        ...

    async def lift(self, serial: int, *, asked_by: str, reason: str) -> None:
        """Raises NotFound."""
        ...

    def all(self) -> tuple[Revocation, ...]:
        """In force, newest first, with each receiver's state."""
        ...

    def state(self, serial: int) -> Mapping[str, RevocationState]: ...


class Selections(Protocol):
    """Which transmitters somebody or some group has, by roster and by what receivers hold (implemented by sync/)."""

    def of_holder(self, holder: str) -> tuple[Selected, ...]:
        """Raises NotFound."""
        ...

    def of_group(self, group: str) -> tuple[Selected, ...]:
        """Raises NotFound."""
        ...


class SettingsDesk(Protocol):
    """Settings of a receiver, changed with before, after and read-back (implemented by sync/)."""

    async def read(self, receiver: str) -> ReceiverSettings: ...

    async def change(
        self,
        receiver: str,
        *,
        on_times_s: Mapping[int, int] | None = None,
        local_programming: bool | None = None,
        password: str | None = None,
        asked_by: str,
        basis: Callable[[ReceiverSettings], None] | None = None,
    ) -> tuple[ReceiverSettings, ReceiverSettings]:
        """Before and after. Refused with `on-time-out-of-range` and the like before anything is written.

        Changes of a receiver follow one another. `basis` is called with what stands when its turn comes; it may raise.
        """
        ...
