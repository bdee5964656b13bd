"""A plan to a snapshot as it would be made at this moment: what is wanted, the revocations in force and one mirror.

It writes nothing. The one place that every restore and clone goes through, so that no revoked serial ever comes back by
one (rule 5 of the design). What a plan still has to do after a cut is in the plan itself: its target values.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace

from gateway.clock import Clock
from gateway.domain.mirror import Mirror
from gateway.domain.plan import Plan, PlanState, SettingsTarget
from gateway.domain.receiver import ReceiverSettings, Slot
from gateway.domain.transmitter import write_serial
from gateway.errors import Refused
from gateway.ports import Aim, Ledger
from gateway.sync.guard import hold_reason
from gateway.sync.plan_ids import PlanIds
from gateway.sync.planning import targets
from gateway.sync.restore_changes import restore_changes
from gateway.sync.site import Site

__all__ = ["RestoreDrafter"]


class RestoreDrafter:
    """Makes plans that bring a receiver to a target."""

    def __init__(
        self, *, site: Site, clock: Clock, ledger: Ledger, ids: PlanIds, holders: Callable[[], Mapping[int, str]]
    ) -> None:
        self._site = site
        self._holders = holders
        self._clock = clock
        self._ledger = ledger
        self._ids = ids

    def draft(self, mirror: Mirror, aim: Aim, *, reason: str) -> Plan:
        """Pending, the guard's reason in `hold`. Raises Refused with `receiver-unconfirmed`, and what `aim` raises."""
        revoked = self._ledger.revocations().keys()
        target = aim(mirror, revoked)
        goal = {number: target.slots.get(number) for number in sorted({*mirror.slots, *target.slots})}
        now = self._clock.now()
        plan = Plan(
            id=self._ids.next(now),
            receiver=mirror.receiver,
            created=now,
            roster_digest="",
            base_revision=mirror.revision,
            changes=(),
            unchanged=0,
            wire_s=0.0,
            left_out=target.left_out,
            reason=reason,
            settings=_differing(target.settings, mirror.settings),
        )
        return self._filled(plan, mirror, goal)

    def redraft(self, plan: Plan, mirror: Mirror) -> Plan:
        """What is left of a plan, under the same id, without what was revoked since. Raises Refused."""
        return self._filled(plan, mirror, targets(plan.changes))

    def anew(self, plan: Plan, mirror: Mirror) -> Plan:
        """The same work as a new plan, pending and with nothing done yet."""
        now = self._clock.now()
        fresh = self.redraft(plan, mirror)
        return replace(
            fresh, id=self._ids.next(now), created=now, state=PlanState.PENDING, done=0, outcome="", snapshot=""
        )

    def _filled(self, plan: Plan, mirror: Mirror, goal: Mapping[int, Slot | None]) -> Plan:
        if not mirror.confirmed:
            raise Refused(
                f"Another receiver than before answers as {mirror.receiver}; nothing is written to it.",
                remedy="Say that it is the right one (--replacement), or put the known one back.",
                code="receiver-unconfirmed",
            )
        revoked = self._ledger.revocations().keys()
        allowed, caught = _without_revoked(goal, revoked)
        facts = self._site.facts[mirror.receiver]
        changes = restore_changes(mirror, allowed, facts, holders=self._holders(), revoked=revoked)
        touched = targets(changes)
        return replace(
            plan,
            base_revision=mirror.revision,
            changes=changes,
            unchanged=sum(1 for number in mirror.slots if number not in touched),
            wire_s=self._wire_s(mirror, touched),
            state=PlanState.PENDING,
            hold=hold_reason(mirror, changes),
            left_out=(*plan.left_out, *(words for words in caught if words not in plan.left_out)),
        )

    def _wire_s(self, mirror: Mirror, touched: Collection[int]) -> float:
        blocks = {mirror.limits.block_of(number) for number in touched}
        receiver = self._site.receivers[mirror.receiver]
        return receiver.wire_seconds(slots_written=len(touched), blocks_checked=len(blocks)) if touched else 0.0


def _without_revoked(
    goal: Mapping[int, Slot | None], revoked: Collection[int]
) -> tuple[dict[int, Slot | None], list[str]]:
    allowed: dict[int, Slot | None] = {}
    caught = []
    for number, slot in goal.items():
        if slot is not None and slot.serial in revoked:
            allowed[number] = None
            caught.append(f"Transmitter {write_serial(slot.serial)} is revoked and stays out.")
        else:
            allowed[number] = slot
    return allowed, caught


def _differing(wanted: SettingsTarget | None, now: ReceiverSettings | None) -> SettingsTarget | None:
    """What of the wanted settings is to be written; None when nothing is."""
    if wanted is None or now is None:
        return None
    on_times_s = {n: s for n, s in wanted.on_times_s.items() if now.on_times_s[n - 1] != s}
    allowed = wanted.local_programming if wanted.local_programming != now.local_programming else None
    return SettingsTarget(on_times_s, allowed) if on_times_s or allowed is not None else None
