"""Which snapshots may go.

Pure. The rule: of each receiver the last `keep_last` stay, and the newest of each calendar month (UTC) for
`keep_months` months back, this one included. One that a restore, a wait or an unfinished plan needs always stays.
Snapshots taken by a clock that was not known to be right have no month; of them the last `keep_last` stay too.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from datetime import datetime

from gateway.ports import SnapshotHead

__all__ = ["may_go"]


def may_go(
    heads: Sequence[SnapshotHead], *, keep_last: int, keep_months: int, needed: Collection[str], now: datetime
) -> tuple[str, ...]:
    """The ids that may be removed, oldest first. `now` is trusted wall time."""
    groups: defaultdict[tuple[str, bool], list[SnapshotHead]] = defaultdict(list)
    for head in sorted(heads, key=lambda one: one.id, reverse=True):
        groups[head.receiver, head.clock_trusted].append(head)
    stay = set(needed)
    for (_, trusted), group in groups.items():
        stay |= {head.id for head in group[:keep_last]}
        if trusted:
            stay |= _of_months(group, now, keep_months)
    return tuple(sorted(head.id for head in heads if head.id not in stay))


def _of_months(newest_first: Sequence[SnapshotHead], now: datetime, months: int) -> set[str]:
    newest: dict[int, str] = {}
    for head in newest_first:
        newest.setdefault(_month(head.taken), head.id)
    return {found for month, found in newest.items() if month > _month(now) - months}


def _month(time: datetime) -> int:
    return time.year * 12 + time.month
