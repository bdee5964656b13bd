"""Rule 4 of the design: removals that look like a mistake wait for a person.

Pure. Held is a plan whose guarded changes (removals, and slots that lose an output on a position) are 3 or more and
more than 20 % of the slots that the receiver holds, and a plan that removes something and leaves nothing. Revocations
and endings by a date that was already accepted don't count. A removal takes its outputs away too, so both are counted
together: fifteen per cent of each is a loss for thirty.
"""

from __future__ import annotations

from collections.abc import Sequence

from gateway.domain.mirror import Mirror
from gateway.domain.plan import Change, ChangeKind
from gateway.sync.planning import targets

__all__ = ["GUARD_COUNT", "GUARD_PERCENT", "hold_reason"]

GUARD_COUNT = 3
GUARD_PERCENT = 20


def hold_reason(mirror: Mirror, changes: Sequence[Change]) -> str:
    """Why these changes wait for approval, in a sentence; empty when they may be written."""
    guarded = [change for change in changes if change.guarded]
    removed = sum(1 for change in guarded if change.kind is ChangeKind.REMOVED)
    held = len(mirror.slots)
    if removed and _left(mirror, changes) == 0:
        return f"It would leave {mirror.receiver} without a single transmitter ({held} now)."
    if len(guarded) >= GUARD_COUNT and len(guarded) * 100 > held * GUARD_PERCENT:
        losing = len(guarded) - removed
        parts = (f"remove {removed}" if removed else "", f"take rights from {losing}" if losing else "")
        return (
            f"It would {' and '.join(filter(None, parts))} of the {held} transmitters in {mirror.receiver}, "
            f"which is more than {GUARD_PERCENT} %."
        )
    return ""


def _left(mirror: Mirror, changes: Sequence[Change]) -> int:
    after = dict(mirror.slots) | targets(tuple(changes))
    return sum(1 for slot in after.values() if slot is not None)
