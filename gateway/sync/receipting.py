"""After a sync: a signed receipt that the receiver holds what the roster wants of it.

The mirror that a receipt speaks of was proven a moment ago by revision and block CRCs. It is planned once more against
the roster in force; only when nothing at all is left to write is there a receipt. A plan that leaves the guarded part
for later, and one that goes to a snapshot, gets none: the receiver is then not equal to the roster, and nothing may say
so.
"""

from __future__ import annotations

import asyncio
from dataclasses import dataclass
from datetime import timedelta
from typing import Protocol

from gateway.clock import Clock
from gateway.domain.mirror import Mirror
from gateway.domain.plan import Plan
from gateway.domain.receipt import Receipt
from gateway.errors import GatepostError, StoreError
from gateway.ports import Mirrors, Receipts, Trust
from gateway.sync.drafting import Drafter, RosterInForce

__all__ = ["AGAIN_AFTER", "NoReceipts", "ReceiptWriter", "Receipting", "Stated"]

AGAIN_AFTER = timedelta(hours=1)
"""A timetable that finds everything as its last receipt says writes no second one within this time (our choice: memory
cards wear). Somebody who asks always gets one."""


@dataclass(frozen=True, slots=True)
class Stated:
    """The receipt's id and a clause for the plan's outcome; both empty when there is none."""

    receipt: str = ""
    words: str = ""


class Receipting(Protocol):
    """Whoever makes the receipt of a plan that has ended well."""

    async def after(self, plan: Plan, mirror: Mirror | None = None, *, asked: bool = True) -> Stated:
        """Make the receipt of a plan that has nothing left to write.

        `mirror` is what was just proven; without it the mirror that is kept. Never raises: a proof that can't be kept
        does not undo what was written.
        """
        ...


class NoReceipts:
    """`Receipting` where nothing is signed: parts that are tried alone."""

    async def after(self, plan: Plan, mirror: Mirror | None = None, *, asked: bool = True) -> Stated:
        return Stated()


class ReceiptWriter:
    """`Receipting`."""

    def __init__(
        self,
        *,
        receipts: Receipts,
        drafter: Drafter,
        rosters: RosterInForce,
        mirrors: Mirrors,
        clock: Clock,
        trust: Trust,
        site: str,
        boot_id: str,
    ) -> None:
        self._receipts = receipts
        self._drafter = drafter
        self._rosters = rosters
        self._mirrors = mirrors
        self._clock = clock
        self._trust = trust
        self._site = site
        self._boot_id = boot_id
        self._made: dict[str, tuple[tuple[object, ...], float]] = {}

    async def after(self, plan: Plan, mirror: Mirror | None = None, *, asked: bool = True) -> Stated:
        if plan.reason != "roster":
            return Stated()
        held = mirror or self._mirrors.load(plan.receiver)
        receipt = self._receipt(plan, held) if held is not None else None
        if receipt is None or not (asked or plan.changes or self._is_due(receipt)):
            return Stated()
        try:
            kept = await asyncio.shield(self._receipts.add(receipt))
        except StoreError as fault:
            return Stated("", f" Its receipt can't be kept: {fault.message}")
        self._made[plan.receiver] = (_facts(receipt), self._clock.monotonic())
        return Stated(kept.id, f" Receipt {kept.id}.")

    def _receipt(self, plan: Plan, mirror: Mirror) -> Receipt | None:
        """None when something is left to write after all: somebody was faster, and the next sync tells."""
        in_force = self._rosters.in_force
        try:
            left = self._drafter.draft(mirror)
        except GatepostError:
            return None
        if in_force is None or left.changes or left.roster_digest != plan.roster_digest:
            return None
        if not mirror.block_crcs:
            return None  # entered and ticked by hand: nothing was read, so nothing is proven
        accepted = in_force.accepted
        return Receipt(
            site=self._site,
            receiver=plan.receiver,
            identity=mirror.identity,
            revision=mirror.revision,
            block_slots=mirror.limits.block_slots,
            block_crcs=mirror.block_crcs,
            transmitters=len(mirror.slots),
            roster_digest=plan.roster_digest,
            roster_revision=accepted.revision if accepted and accepted.digest == plan.roster_digest else None,
            plan=plan.id,
            written=len({change.slot for change in plan.changes}),
            not_done=len(left.left_out),
            time=self._clock.now(),
            clock_trusted=self._trust.trusted,
            boot_id=self._boot_id,
            uptime_s=self._clock.monotonic(),
        )

    def _is_due(self, receipt: Receipt) -> bool:
        facts, made = self._made.get(receipt.receiver, ((), 0.0))
        return facts != _facts(receipt) or self._clock.monotonic() - made >= AGAIN_AFTER.total_seconds()


def _facts(receipt: Receipt) -> tuple[object, ...]:
    return (
        receipt.identity, receipt.revision, receipt.block_crcs, receipt.roster_digest, receipt.roster_revision,
        receipt.not_done, receipt.clock_trusted,
    )  # fmt: skip
