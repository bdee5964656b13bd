"""Plan ids: short, rising, safe."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from gateway.sync.plan_ids import PlanIds

NOW = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def test_ids_rise_even_when_the_clock_does_not() -> None:
    """Same moment, later, and a clock set back: text order is the order of making."""
    ids = PlanIds()
    made = [ids.next(NOW + timedelta(seconds=s)) for s in (0, 0, 5, -86_400, 6)]
    assert made == sorted(set(made))
    assert {len(one) for one in made} == {10}


def test_a_restart_goes_on_above_the_newest_kept() -> None:
    """With a clock that is a year behind; what is no id of ours is ignored."""
    before = PlanIds().next(NOW)
    ids = PlanIds()
    for known in (before, "", "x", "plan-17", "p" + "l" * 9):
        ids.follow(known)
    assert ids.next(NOW - timedelta(days=365)) > before
