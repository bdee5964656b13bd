"""A roster that waits at one receiver until somebody approves: after a restore, a clone or a reset (rules 5 and 11)."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

__all__ = ["BOARD_RESET", "RESET", "RosterWait", "why_it_waits"]

RESET, BOARD_RESET = "reset", "board-reset"
"""The reasons of waits behind a memory that is empty: cleared through the gateway, or by somebody else."""


@dataclass(frozen=True, slots=True)
class RosterWait:
    """`reason` is `restore`, `clone`, `reset` or `board-reset`. `plan` is the plan that restores, empty after a reset.

    `snapshot` is the one that was restored, or the one that was taken before the reset. `kept_digest` is None until
    somebody approved what the receiver holds; then it is the digest of the roster that was passed over ("" for none),
    and the wait ends by itself when another roster is accepted.
    """

    receiver: str
    reason: str
    since: datetime
    asked_by: str
    snapshot: str = ""
    plan: str = ""
    kept_digest: str | None = None


_WHY = {RESET: "it was cleared on purpose", BOARD_RESET: "it was cleared by a reset that did not come from here"}


def why_it_waits(reason: str, snapshot: str) -> str:
    """What came before the wait, as a clause that is true from its first moment, whether it has been written or not."""
    return _WHY.get(reason) or f"the snapshot {snapshot} was chosen for it"
