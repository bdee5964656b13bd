"""What a line counts."""

from __future__ import annotations

import pytest

from gateway.line.state import ANSWER_BOUNDS_S, LineCounters, Tally


@pytest.mark.parametrize(
    ("took_s", "place"), [(0.0, 0), (0.005, 0), (0.0051, 1), (0.3, 6), (1.0, 7), (1.0001, 8), (60.0, 8)]
)
def test_answers_are_counted_by_how_long_they_took(took_s: float, place: int) -> None:
    """Upper bounds are inclusive, as Prometheus' `le` is; whatever took longer than all of them has a class too."""
    tally = Tally()
    tally.answered(took_s)
    counted = tally.snapshot()
    assert counted.answers_by_s[place] == sum(counted.answers_by_s) == 1
    assert counted.answers_s == took_s
    assert len(counted.answers_by_s) == len(ANSWER_BOUNDS_S) + 1


def test_a_snapshot_stays_as_it_was() -> None:
    """Whoever holds one compares it with the next."""
    tally = Tally()
    before = tally.snapshot()
    tally.answered(0.1)
    tally.frames_sent += 1
    assert before == LineCounters()
    assert tally.snapshot().frames_sent == 1
