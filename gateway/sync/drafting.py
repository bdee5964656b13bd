"""A plan as it would be made at this moment: the roster in force, the clock, the revocations and one mirror.

It gathers what the pure parts need and hands it to them. It writes nothing, neither to a receiver nor to the store.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Protocol

from gateway.clock import Clock
from gateway.domain.enrolment import Override
from gateway.domain.mirror import Mirror
from gateway.domain.plan import Plan, PlanState
from gateway.domain.roster import Roster
from gateway.domain.transmitter import write_serial
from gateway.domain.wait import BOARD_RESET
from gateway.errors import Refused
from gateway.ports import Ledger, RosterAcceptance, Trust
from gateway.sync.desired import Desired, Moment, Shape, desired_slots
from gateway.sync.drift_book import DriftBook
from gateway.sync.drift_rules import with_drift
from gateway.sync.guard import hold_reason
from gateway.sync.override_drafting import OverrideDrafter
from gateway.sync.plan_ids import PlanIds
from gateway.sync.planning import Draft, Unknown, plan_changes, targets
from gateway.sync.restore_drafting import RestoreDrafter
from gateway.sync.site import Site

__all__ = ["Drafter", "InForce", "RosterInForce"]


@dataclass(frozen=True, slots=True)
class InForce:
    """The roster in force, when it was accepted, and the one before it when that is still known."""

    roster: Roster
    accepted: RosterAcceptance | None
    earlier: Roster | None = None


class RosterInForce(Protocol):
    """Whoever knows the roster in force."""

    @property
    def in_force(self) -> InForce | None: ...


class Drafter:
    """Makes plans from mirrors."""

    def __init__(
        self,
        *,
        site: Site,
        clock: Clock,
        trust: Trust,
        ledger: Ledger,
        rosters: RosterInForce,
        ids: PlanIds,
        unknown: Unknown = "remove",
        drift: DriftBook | None = None,
        overrides: Callable[[], Mapping[int, Override]] = dict,
    ) -> None:
        self._site = site
        self._clock = clock
        self._trust = trust
        self._ledger = ledger
        self._rosters = rosters
        self._ids = ids
        self._unknown = unknown
        self._overrides = overrides
        self._drift = drift
        self.restores = RestoreDrafter(site=site, clock=clock, ledger=ledger, ids=ids, holders=self._holders)
        self.overrides = OverrideDrafter(
            site=site, clock=clock, trust=trust, ledger=ledger, ids=ids, roster=self._rows, overrides=overrides
        )

    def left(self, mirror: Mirror) -> tuple[int, int]:
        """How many changes to the roster in force are left to write from this mirror, and how much a rule leaves out.

        It changes nothing, not even the next plan's id, so that a thread may ask. Raises as `draft`.
        """
        draft = self._changes(mirror, False)
        return len(draft.changes), len(draft.left_out) + len(self._overridden(mirror))

    def draft(self, mirror: Mirror, *, without_guarded: bool = False) -> Plan:
        """The plan from this mirror to the roster in force, pending, with the guard's reason in `hold`.

        Raises Refused with `no-roster`, `receiver-unconfirmed` or `receiver-full`, NotFound, Unsupported.
        """
        roster = self._roster().roster
        draft = self._changes(mirror, without_guarded)
        now = self._clock.now()
        return Plan(
            id=self._ids.next(now),
            receiver=mirror.receiver,
            created=now,
            roster_digest=roster.digest,
            base_revision=mirror.revision,
            changes=draft.changes,
            unchanged=draft.unchanged,
            wire_s=self._wire_s(mirror, draft),
            state=PlanState.PENDING,
            hold=hold_reason(mirror, draft.changes),
            left_out=(*draft.left_out, *self._overridden(mirror)),
            clock_trusted=self._trust.trusted,
        )

    def redraft(self, plan: Plan, mirror: Mirror) -> Plan:
        """What is left of a plan: made anew from this mirror, under the same id. Raises as `draft`."""
        if plan.restores:
            return self.restores.redraft(plan, mirror)
        if not plan.follows_roster:
            return self.overrides.redraft(plan, mirror)
        self._refuse_reset(plan.receiver)
        fresh = self.draft(mirror, without_guarded=plan.reason == "additions")
        return replace(fresh, id=plan.id, created=plan.created, reason=plan.reason, snapshot=plan.snapshot)

    def anew(self, plan: Plan, mirror: Mirror) -> Plan:
        """A new plan for the same purpose. Raises as `draft`."""
        if plan.restores:
            return self.restores.anew(plan, mirror)
        return self.draft(mirror) if plan.follows_roster else self.overrides.anew(plan, mirror)

    def _overridden(self, mirror: Mirror) -> tuple[str, ...]:
        """What works here though the roster lacks it: whoever reads a plan or a receipt must know."""
        held = {slot.serial for slot in mirror.slots.values()}
        rows = self._roster().roster.by_serial()
        return tuple(
            f"{each.holder}, transmitter {write_serial(each.serial)}, works by a local override; the roster lacks it."
            for each in self._overrides().values()
            if each.serial in held and rows[each.serial].row == 0
        )

    def _rows(self) -> Roster | None:
        return self._rosters.in_force.roster if self._rosters.in_force else None

    def _holders(self) -> dict[int, str]:
        in_force = self._rosters.in_force
        return {entry.serial: entry.holder for entry in in_force.roster.entries} if in_force else {}

    def _roster(self) -> InForce:
        in_force = self._rosters.in_force
        if in_force is None:
            raise Refused(
                "No roster has been accepted yet, so there is nothing to bring the receiver to.",
                remedy="Check the roster's place and what it last said with `gatepost status`.",
                code="no-roster",
            )
        return in_force

    def _changes(self, mirror: Mirror, without_guarded: bool) -> Draft:
        if not mirror.confirmed:
            raise Refused(
                f"Another receiver than before answers as {mirror.receiver}; nothing is written to it.",
                remedy="Confirm that the receiver was replaced on purpose, or put the right one back.",
                code="receiver-unconfirmed",
            )
        facts = self._site.facts[mirror.receiver]
        return plan_changes(
            mirror, self._with_drift(mirror), facts, unknown=self._unknown, without_guarded=without_guarded
        )

    def _refuse_reset(self, receiver: str) -> None:
        """A receiver that was reset while a plan was being written is not filled again by that plan (rule 11)."""
        wait = self._ledger.waits().get(receiver)
        if wait is not None and wait.reason == BOARD_RESET and wait.kept_digest is None:
            raise Refused(
                f"{receiver} was reset while it was being written; the roster waits there.",
                remedy=f"Let it go on with: gatepost snapshot approve {receiver} --roster",
                code="roster-waits",
            )

    def _with_drift(self, mirror: Mirror) -> Desired:
        desired = self.desired(mirror)
        if self._drift is None:
            return desired
        return with_drift(desired, mirror, self._drift.view(mirror, desired.listed))

    def desired(self, mirror: Mirror) -> Desired:
        """What the roster alone wants here now. Raises Refused with `no-roster`, NotFound, Unsupported."""
        receiver, in_force = self._site.planned(mirror.receiver), self._roster()
        moment = Moment(
            now=self._clock.now(),
            zone=self._site.zone,
            trusted=self._trust.trusted,
            accepted=in_force.accepted.time if in_force.accepted else None,
            earlier=in_force.earlier,
        )
        return desired_slots(
            in_force.roster,
            self._site.facts[mirror.receiver],
            Shape(mirror.limits, receiver.kind_code, receiver.fit_name),
            moment,
            site=self._site.name,
            revoked=self._ledger.revocations(),
        )

    def _wire_s(self, mirror: Mirror, draft: Draft) -> float:
        touched = targets(draft.changes)
        blocks = {mirror.limits.block_of(number) for number in touched}
        receiver = self._site.receivers[mirror.receiver]
        return receiver.wire_seconds(slots_written=len(touched), blocks_checked=len(blocks)) if touched else 0.0
