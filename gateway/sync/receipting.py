"""What was proven, signed: after a sync, a revocation, a restore, a clone, an enrolment.

The mirror that a receipt speaks of was proven a moment ago by revision and block CRCs. It is planned once more against
the roster in force: a sync has its receipt only when nothing at all is left to write, and any other says whether that
is so. A plan that leaves the guarded part for later gets none: it promised more than it has done.
"""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Awaitable, Callable, Collection, Mapping
from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import Protocol

from gateway.clock import Clock
from gateway.domain.mirror import Mirror
from gateway.domain.plan import CLONE, ENROLMENT, RESTORE, Plan
from gateway.domain.receipt import Receipt, ReceiptOf, revoked_digest
from gateway.domain.wait import RosterWait
from gateway.errors import GatepostError, StoreError
from gateway.ports import Mirrors, Receipts, Trust
from gateway.sync.drafting import Drafter, RosterInForce

__all__ = ["AGAIN_AFTER", "NoReceipts", "ReceiptWriter", "Receipting", "Stated"]

AGAIN_AFTER = timedelta(hours=1)
"""A timetable that finds everything as its last receipt says writes no second one within this time (our choice: memory
cards wear). Somebody who asks always gets one."""

_SALT_BYTES = 16  # 128 bits: nobody tries them all (NIST SP 800-132, 5.1, asks for as many)
_OF_PLANS = {
    "roster": ReceiptOf.SYNC,
    RESTORE: ReceiptOf.RESTORE,
    CLONE: ReceiptOf.CLONE,
    ENROLMENT: ReceiptOf.ENROLMENT,
}


@dataclass(frozen=True, slots=True)
class Stated:
    """The receipt's id and a clause for the plan's outcome; both empty when there is none.

    `salts` are by serial, of a revocation: with its salt anybody can find a transmitter in the receipt, without nobody.
    """

    receipt: str = ""
    words: str = ""
    salts: Mapping[int, str] = field(default_factory=dict)


class Receipting(Protocol):
    """Whoever makes the receipt of what has ended well."""

    async def after(self, plan: Plan, mirror: Mirror | None = None, *, asked: bool = True) -> Stated:
        """Make the receipt of a plan that has nothing left to write.

        `mirror` is what was just proven; without it the mirror that is kept. Never raises: a proof that can't be kept
        does not undo what was written.
        """
        ...

    async def revoked(self, mirror: Mirror, serials: Collection[int], *, written: int) -> Stated:
        """Make the receipt of revoked transmitters that this mirror, proven just now, lacks. `written`: slots freed.

        Never raises.
        """
        ...


class NoReceipts:
    """`Receipting` where nothing is signed: parts that are tried alone."""

    async def after(self, plan: Plan, mirror: Mirror | None = None, *, asked: bool = True) -> Stated:
        return Stated()

    async def revoked(self, mirror: Mirror, serials: Collection[int], *, written: int) -> Stated:
        return Stated()


@dataclass(frozen=True, slots=True)
class _Basis:
    """The roster in force beside a mirror: whether the mirror is equal to it, and how much a rule left out."""

    digest: str = ""
    revision: int | None = None
    equal: bool = False
    not_done: int = 0


Apart = Callable[[Callable[[Mirror], _Basis], Mirror], Awaitable[_Basis]]


class ReceiptWriter:
    """`Receipting`. `waits` are those of the ledger: they know which snapshot a restore went to.

    A revocation proven at many receivers at once must hold up no line: what it compares, it compares `apart`.
    """

    def __init__(
        self,
        *,
        receipts: Receipts,
        drafter: Drafter,
        rosters: RosterInForce,
        mirrors: Mirrors,
        waits: Callable[[], Mapping[str, RosterWait]],
        clock: Clock,
        trust: Trust,
        site: str,
        boot_id: str,
        apart: Apart = asyncio.to_thread,
    ) -> None:
        self._apart = apart
        self._receipts = receipts
        self._drafter = drafter
        self._rosters = rosters
        self._mirrors = mirrors
        self._waits = waits
        self._clock = clock
        self._trust = trust
        self._site = site
        self._boot_id = boot_id
        self._made: dict[str, tuple[tuple[object, ...], float]] = {}

    async def after(self, plan: Plan, mirror: Mirror | None = None, *, asked: bool = True) -> Stated:
        done = _OF_PLANS.get(plan.reason)
        held = mirror or self._mirrors.load(plan.receiver)
        if done is None or held is None or not held.block_crcs:
            return Stated()  # entered and ticked by hand: nothing was read, so nothing is proven
        basis = self._basis(held)
        receipt = replace(
            self._receipt(done, held, basis),
            plan=plan.id,
            written=len({change.slot for change in plan.changes}),
        )
        if done is ReceiptOf.SYNC:
            if not basis.equal or basis.digest != plan.roster_digest:
                return Stated()  # somebody was faster, and the next sync tells
            if not (asked or plan.changes or self._is_due(receipt)):
                return Stated()
        else:
            receipt = replace(receipt, snapshot=self._snapshot(plan))
        if plan.restores:
            receipt = replace(receipt, not_done=len(plan.left_out))
        return await self._add(receipt)

    async def revoked(self, mirror: Mirror, serials: Collection[int], *, written: int) -> Stated:
        if not mirror.block_crcs or not serials:
            return Stated()
        salts = {serial: secrets.token_hex(_SALT_BYTES) for serial in sorted(serials)}
        digests = tuple(revoked_digest(serial, salt) for serial, salt in salts.items())
        receipt = self._receipt(ReceiptOf.REVOCATION, mirror, await self._apart(self._basis, mirror))
        stated = await self._add(replace(receipt, written=written, revoked=digests))
        return replace(stated, salts=salts if stated.receipt else {})

    async def _add(self, receipt: Receipt) -> Stated:
        try:
            kept = await asyncio.shield(self._receipts.add(receipt))
        except StoreError as fault:
            return Stated("", f" Its receipt can't be kept: {fault.message}")
        self._made[receipt.receiver] = (_facts(receipt), self._clock.monotonic())
        return Stated(kept.id, f" Receipt {kept.id}.")

    def _basis(self, mirror: Mirror) -> _Basis:
        in_force = self._rosters.in_force
        if in_force is None:
            return _Basis()
        digest, accepted = in_force.roster.digest, in_force.accepted
        basis = _Basis(digest, accepted.revision if accepted and accepted.digest == digest else None)
        try:
            changes, left_out = self._drafter.left(mirror)
        except GatepostError:
            return basis
        still = self._rosters.in_force
        same = still is not None and still.roster.digest == digest  # another may have come while a thread compared
        return replace(basis, equal=same and changes == 0, not_done=left_out)

    def _receipt(self, done: ReceiptOf, mirror: Mirror, basis: _Basis) -> Receipt:
        return Receipt(
            done=done,
            site=self._site,
            receiver=mirror.receiver,
            identity=mirror.identity,
            revision=mirror.revision,
            block_slots=mirror.limits.block_slots,
            block_crcs=mirror.block_crcs,
            transmitters=len(mirror.slots),
            roster_digest=basis.digest,
            roster_revision=basis.revision,
            equal=basis.equal,
            plan="",
            written=0,
            not_done=basis.not_done,
            time=self._clock.now(),
            clock_trusted=self._trust.trusted,
            boot_id=self._boot_id,
            uptime_s=self._clock.monotonic(),
        )

    def _snapshot(self, plan: Plan) -> str:
        wait = self._waits().get(plan.receiver)
        return wait.snapshot if plan.restores and wait is not None and wait.plan == plan.id else ""

    def _is_due(self, receipt: Receipt) -> bool:
        facts, made = self._made.get(receipt.receiver, ((), 0.0))
        return facts != _facts(receipt) or self._clock.monotonic() - made >= AGAIN_AFTER.total_seconds()


def _facts(receipt: Receipt) -> tuple[object, ...]:
    return (
        receipt.done, receipt.identity, receipt.revision, receipt.block_crcs, receipt.roster_digest,
        receipt.roster_revision, receipt.not_done, receipt.clock_trusted,
    )  # fmt: skip
