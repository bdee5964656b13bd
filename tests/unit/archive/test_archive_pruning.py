"""Which snapshots may go."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from hypothesis import given
from hypothesis import strategies as st

from gateway.archive.pruning import may_go
from gateway.ports import SnapshotHead

NOW = datetime(2026, 3, 31, 12, tzinfo=UTC)


def head(taken: datetime, receiver: str = "slip-gate", trusted: bool = True) -> SnapshotHead:
    return SnapshotHead(f"{taken:%Y%m%dT%H%M%SZ}-001-{receiver}", receiver, taken, trusted, "plan", "FQ-1", 7, 3)


def test_the_last_ones_and_one_a_month_stay() -> None:
    """30 days of March and one on the 1st and 20th of each month before: 20 last, then the newest of each month."""
    days = [head(NOW - timedelta(days=n)) for n in range(30)]
    months = [head(datetime(2025, month, day, tzinfo=UTC)) for month in range(1, 13) for day in (1, 20)]
    gone = may_go([*days, *months], keep_last=20, keep_months=6, needed=(), now=NOW)
    stay = {one.id for one in (*days, *months)} - set(gone)
    assert stay == {one.id for one in days[:20]} | {head(datetime(2025, m, 20, tzinfo=UTC)).id for m in (10, 11, 12)}
    assert list(gone) == sorted(gone)


def test_what_is_needed_stays_and_receivers_are_apart() -> None:
    """However old; and another receiver's many don't push out this one's few."""
    old = [head(NOW - timedelta(days=1000 + n)) for n in range(5)]
    others = [head(NOW - timedelta(hours=n), "car-park") for n in range(40)]
    gone = may_go([*old, *others], keep_last=3, keep_months=1, needed={old[4].id}, now=NOW)
    assert {one.id for one in old} - set(gone) == {old[0].id, old[1].id, old[2].id, old[4].id}
    assert len([one for one in gone if "car-park" in one]) == 37


def test_a_wrong_clock_makes_no_room() -> None:
    """What was taken in 1970 by a clock that nobody trusted neither goes first nor counts as a month."""
    wrong = [head(datetime(1970, 1, 1, hour, tzinfo=UTC), trusted=False) for hour in range(5)]
    right = [head(NOW - timedelta(days=n)) for n in range(5)]
    gone = may_go([*wrong, *right], keep_last=3, keep_months=0, needed=(), now=NOW)
    assert set(gone) == {one.id for one in (*wrong[:2], *right[3:])}


@given(st.lists(st.integers(0, 3000), unique=True, max_size=60), st.integers(1, 5), st.integers(0, 30))
def test_pruning_again_finds_nothing(days: list[int], keep_last: int, keep_months: int) -> None:
    """The rule is its own fixed point, and never takes the newest."""
    heads = [head(NOW - timedelta(days=n)) for n in days]
    gone = set(may_go(heads, keep_last=keep_last, keep_months=keep_months, needed=(), now=NOW))
    left = [one for one in heads if one.id not in gone]
    assert may_go(left, keep_last=keep_last, keep_months=keep_months, needed=(), now=NOW) == ()
    assert len(left) >= min(keep_last, len(heads))
    if heads:
        assert max(one.id for one in heads) not in gone
