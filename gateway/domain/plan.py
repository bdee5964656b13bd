"""A plan: the ordered list of changes that takes a receiver from its mirror to the roster."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from gateway.domain.receiver import Slot

__all__ = ["CLONE", "ENROLMENT", "RESTORE", "Change", "ChangeKind", "Plan", "PlanState", "SettingsTarget"]

RESTORE, CLONE = "restore", "clone"
"""The reasons of plans that bring a receiver to a snapshot, not to the roster."""

ENROLMENT = "enrolment"
"""The reason of a plan that lets single transmitters work before the roster has them."""


class ChangeKind(StrEnum):
    """What happens to a slot."""

    ADDED = "added"
    CHANGED = "changed"
    REMOVED = "removed"


class PlanState(StrEnum):
    """The life of a plan."""

    PREVIEW = "preview"  # shown, never to be applied as it is
    HELD = "held"  # its removals wait for approval
    PENDING = "pending"  # durable, about to be written
    APPLYING = "applying"
    APPLIED = "applied"  # written, read back, block CRCs confirmed
    FAILED = "failed"
    REFUSED = "refused"  # somebody said no to what was held
    SUPERSEDED = "superseded"  # something newer took its place before it was done

    @property
    def is_final(self) -> bool:
        """True when nothing more will happen to it."""
        return self in _FINAL


_FINAL = frozenset({PlanState.PREVIEW, PlanState.APPLIED, PlanState.FAILED, PlanState.REFUSED, PlanState.SUPERSEDED})


@dataclass(frozen=True, slots=True)
class Change:
    """One slot's change. `before` None for an addition, `after` None for a removal. `words` is for people.

    `guarded` is True for a removal, or a taking away of outputs, that counts towards the guard of rule 4
    (a revocation and an ending by date don't).
    """

    kind: ChangeKind
    slot: int
    before: Slot | None
    after: Slot | None
    words: str
    revoked: bool = False
    guarded: bool = False


@dataclass(frozen=True, slots=True)
class SettingsTarget:
    """Settings that a restore writes after its slots: seconds by output, and the board's own buttons (None: as is).

    The link password has no place here.
    """

    on_times_s: Mapping[int, int] = field(default_factory=dict)
    local_programming: bool | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """Changes in the order of writing, with all target values.

    `base_revision` is the receiver's revision that `before` values were true at. `wire_s` is the estimate of
    the time on the wire. `hold` says why it waits for approval, empty when it doesn't. `left_out` are sentences
    about what the roster wants and this plan does not do (revoked, beyond the kind's positions, no room ...).
    `receipt` names the signed receipt that was made when it had ended well.
    `settings` are those that a restore writes once every slot is proven, None when it writes none. `clock_trusted`:
    whether `created` is known to be right.
    """

    id: str
    receiver: str
    created: datetime
    roster_digest: str
    base_revision: int
    changes: tuple[Change, ...]
    unchanged: int
    wire_s: float
    state: PlanState = PlanState.PENDING
    hold: str = ""
    left_out: tuple[str, ...] = ()
    done: int = 0
    outcome: str = ""
    snapshot: str = ""
    reason: str = "roster"
    receipt: str = ""
    settings: SettingsTarget | None = None
    clock_trusted: bool = False

    @property
    def restores(self) -> bool:
        """True when it goes to a snapshot, not to the roster."""
        return self.reason in (RESTORE, CLONE)

    @property
    def follows_roster(self) -> bool:
        """True when it brings the receiver to the roster in force."""
        return not self.restores and self.reason != ENROLMENT

    def count(self, kind: ChangeKind) -> int:
        """How many changes are of this kind."""
        return sum(1 for change in self.changes if change.kind is kind)
