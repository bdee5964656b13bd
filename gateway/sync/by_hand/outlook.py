"""What is to be done at a receiver without a line, as things stand: from its mirror, the roster, the guard.

With a roster in force that is its plan, less what the guard holds until somebody approves. Without one, or when the
roster can't be planned for it, only what is revoked is to be taken out (nothing else is ever removed then). Where a
snapshot is brought back by hand the roster waits, and what is left of that is to be done.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from gateway.domain.mirror import Mirror
from gateway.domain.plan import Change, ChangeKind, Plan
from gateway.domain.wait import RosterWait
from gateway.errors import LocalError
from gateway.ports import Journal, Ledger, ReceiverFacts
from gateway.sync.by_hand.lines import targets_by_serial
from gateway.sync.desired import Desired
from gateway.sync.drafting import Drafter
from gateway.sync.planning import plan_changes
from gateway.sync.preparing import ADDITIONS, Preparer
from gateway.sync.refusing import said_no
from gateway.sync.waiting import Waiting, refusal

__all__ = ["Lookout", "Outlook"]


@dataclass(frozen=True, slots=True)
class Outlook:
    """`changes` are to be done now; `plan` would carry them out, None without a roster. `held` waits for approval."""

    changes: tuple[Change, ...]
    plan: Plan | None = None
    held: Plan | None = None
    fault: LocalError | None = None


class Lookout:
    """Makes outlooks."""

    def __init__(
        self, *, drafter: Drafter, preparer: Preparer, ledger: Ledger, journal: Journal, waiting: Waiting
    ) -> None:
        self._drafter = drafter
        self._waiting = waiting
        self._preparer = preparer
        self._ledger = ledger
        self._journal = journal

    async def look(self, mirror: Mirror, facts: ReceiverFacts, under_way: Plan | None) -> Outlook:
        """What is to be done. What `under_way` was let do by the guard needs no second approval.

        A plan that the guard holds is kept as held and told, once. Raises StoreUnavailable.
        """
        if (wait := await self._waiting.standing(mirror.receiver)) is not None:
            return self._beside_the_roster(mirror, facts, under_way, wait)
        try:
            full = self._drafter.draft(mirror)
            held = await self._preparer.waiting(mirror.receiver)
            refused = await self._preparer.refusals.standing(full) if held is None else None
            known = held or refused
            hold = full.hold or (known.hold if known and _guarded(known) & _guarded(full) else "")
            if not hold or _guarded(full) <= _guarded(under_way):
                if held is not None:
                    await self._preparer.supersede(held, "The roster doesn't want it any more.")
                return Outlook(full.changes, replace(full, hold=""))
            ahead = self._drafter.draft(mirror, without_guarded=True)
        except LocalError as fault:
            return Outlook(self._revoked_alone(mirror, facts), fault=fault)
        if refused is not None and said_no(refused, full):
            return Outlook(ahead.changes, replace(ahead, reason=ADDITIONS, hold=""))
        held = await self._preparer.keep_held(replace(full, hold=hold), held)
        return Outlook(ahead.changes, replace(ahead, reason=ADDITIONS, hold=""), held)

    def relabelled(self, mirror: Mirror) -> Mirror:
        """The mirror with the names that the roster has now: nothing that could be done at a board."""
        try:
            changes = self._drafter.draft(mirror).changes
        except LocalError:
            return mirror
        names = {
            change.slot: change.after
            for change in changes
            if change.kind is ChangeKind.CHANGED
            and change.before is not None
            and change.after is not None
            and change.before.pairs == change.after.pairs
        }
        return replace(mirror, slots={**mirror.slots, **names}) if names else mirror

    def _beside_the_roster(
        self, mirror: Mirror, facts: ReceiverFacts, under_way: Plan | None, wait: RosterWait
    ) -> Outlook:
        """What is left of the snapshot that is being brought back, and whoever is revoked; nothing of the roster."""
        revoked = self._revoked_alone(mirror, facts)
        if under_way is None or under_way.state.is_final or not under_way.restores:
            return Outlook(revoked, fault=refusal(wait))
        try:
            left = self._drafter.anew(under_way, mirror)
        except LocalError as fault:
            return Outlook(revoked, fault=fault)
        theirs = {slot.serial for change in left.changes if (slot := change.before or change.after)}
        others = tuple(one for one in revoked if one.before is not None and one.before.serial not in theirs)
        whole = replace(left, changes=(*others, *left.changes), hold="")
        return Outlook(whole.changes, whole, fault=refusal(wait))

    def _revoked_alone(self, mirror: Mirror, facts: ReceiverFacts) -> tuple[Change, ...]:
        desired = Desired(wanted={}, revoked=frozenset(self._ledger.revocations()))
        return plan_changes(mirror, desired, facts, unknown="report").changes


def _guarded(plan: Plan | None) -> frozenset[tuple[int, frozenset[tuple[int, int]]]]:
    """What a plan takes away that counts towards the guard: by transmitter, what is left to it."""
    if plan is None:
        return frozenset()
    guarded = {change.before.serial for change in plan.changes if change.guarded and change.before is not None}
    return frozenset((serial, left) for serial, left in targets_by_serial(plan.changes).items() if serial in guarded)
