"""A plan that lets single transmitters work at one receiver, and touches nobody else.

Drafted for the overrides that were asked for, whatever else the roster would change at this receiver; so it needs no
roster in force, and neither a waiting roster nor a held plan keeps it. Revoked serials stay out (rule 5 of the
design), and what the guard counts is counted as ever. It writes nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import replace

from gateway.clock import Clock
from gateway.domain.enrolment import Override
from gateway.domain.mirror import Mirror
from gateway.domain.plan import ENROLMENT, Plan, PlanState
from gateway.domain.roster import Roster
from gateway.errors import Refused
from gateway.ports import Ledger, Trust
from gateway.sync.desired import Desired, Moment, Shape, desired_slots
from gateway.sync.guard import hold_reason
from gateway.sync.plan_ids import PlanIds
from gateway.sync.planning import plan_changes, targets
from gateway.sync.site import Site

__all__ = ["OverrideDrafter"]

_NO_ROSTER = Roster((), "")


class OverrideDrafter:
    """Makes plans for overrides. `roster` gives the roster in force with the overrides among its rows, or None."""

    def __init__(
        self,
        *,
        site: Site,
        clock: Clock,
        trust: Trust,
        ledger: Ledger,
        ids: PlanIds,
        roster: Callable[[], Roster | None],
        overrides: Callable[[], Mapping[int, Override]],
    ) -> None:
        self._site = site
        self._clock = clock
        self._trust = trust
        self._ledger = ledger
        self._ids = ids
        self._roster = roster
        self._overrides = overrides

    def draft(self, mirror: Mirror, serials: Collection[int]) -> Plan:
        """Pending, the guard's reason in `hold`. Raises Refused with `receiver-unconfirmed`, `receiver-full`."""
        if not mirror.confirmed:
            raise Refused(
                f"Another receiver than before answers as {mirror.receiver}; nothing is written to it.",
                remedy="Confirm that the receiver was replaced on purpose, or put the right one back.",
                code="receiver-unconfirmed",
            )
        facts = self._site.facts[mirror.receiver]
        draft = plan_changes(mirror, self._desired(mirror, frozenset(serials)), facts)
        now = self._clock.now()
        return Plan(
            id=self._ids.next(now),
            receiver=mirror.receiver,
            created=now,
            roster_digest="",
            base_revision=mirror.revision,
            changes=draft.changes,
            unchanged=draft.unchanged,
            wire_s=self._wire_s(mirror, targets(draft.changes)),
            hold=hold_reason(mirror, draft.changes),
            left_out=draft.left_out,
            reason=ENROLMENT,
            clock_trusted=self._trust.trusted,
        )

    def redraft(self, plan: Plan, mirror: Mirror) -> Plan:
        """What is left of a plan, under the same id, without what was revoked or withdrawn since."""
        fresh = self.draft(mirror, _serials(plan))
        return replace(fresh, id=plan.id, created=plan.created, snapshot=plan.snapshot)

    def anew(self, plan: Plan, mirror: Mirror) -> Plan:
        """A new plan for the same transmitters."""
        return replace(self.draft(mirror, _serials(plan)), state=PlanState.PENDING)

    def _desired(self, mirror: Mirror, serials: frozenset[int]) -> Desired:
        """What these transmitters should have here; of all others nothing is decided, so they stay as they are."""
        roster = self._roster() or self._alone()
        rows = tuple(entry for entry in roster.entries if entry.serial in serials)
        receiver = self._site.with_slots(mirror.receiver)
        revoked = serials & self._ledger.revocations().keys()
        desired = desired_slots(
            replace(roster, entries=rows),
            self._site.facts[mirror.receiver],
            Shape(mirror.limits, receiver.kind_code, receiver.fit_name),
            Moment(self._clock.now(), self._site.zone, self._trust.trusted),
            site=self._site.name,
            revoked=revoked,
        )
        others = frozenset(slot.serial for slot in mirror.slots.values()) - desired.wanted.keys() - revoked
        return replace(desired, undecided=desired.undecided | others, listed=desired.listed | others)

    def _alone(self) -> Roster:
        return replace(_NO_ROSTER, entries=tuple(each.entry() for each in self._overrides().values()))

    def _wire_s(self, mirror: Mirror, touched: Collection[int]) -> float:
        blocks = {mirror.limits.block_of(number) for number in touched}
        receiver = self._site.receivers[mirror.receiver]
        return receiver.wire_seconds(slots_written=len(touched), blocks_checked=len(blocks)) if touched else 0.0


def _serials(plan: Plan) -> frozenset[int]:
    return frozenset(change.after.serial for change in plan.changes if change.after is not None)
