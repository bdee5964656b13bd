"""Planning of reads."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from gateway.line import LineConfig, Timing
from gateway.receivers.reading import Run, gap_worth, next_run


def timing(baud: int) -> Timing:
    return Timing.of(LineConfig("quay", "/dev/null", baud))


def test_neighbours_go_into_one_frame_up_to_its_size() -> None:
    """Six records at most: 1 to 6, then the rest."""
    assert next_run(range(1, 33), 6, 0) == Run(1, 6)


def test_a_gap_is_read_along_only_when_it_is_worth_it() -> None:
    """One unwanted record between is cheaper than a frame where the gap allows one."""
    assert next_run([4, 6, 9], 6, 1) == Run(4, 3)
    assert next_run([4, 6, 9], 6, 0) == Run(4, 1)


def test_another_frame_costs_more_records_on_a_fast_line() -> None:
    """At 115200 Bd the fixed silences weigh as much as one record of 40 bytes; at 19200 Bd a record weighs more."""
    assert gap_worth(timing(115_200), 40) == 1
    assert gap_worth(timing(19_200), 40) == 0


@given(st.lists(st.integers(1, 1024), min_size=1, unique=True), st.integers(1, 6), st.integers(0, 3))
def test_every_wanted_number_is_read_exactly_once(numbers: list[int], most: int, gap: int) -> None:
    """No run is longer than a frame, begins or ends with an unwanted record, or overlaps another."""
    wanted = sorted(numbers)
    read: list[int] = []
    while wanted:
        run = next_run(wanted, most, gap)
        assert run.count <= most
        assert {run.first, run.first + run.count - 1} <= set(wanted)
        read += range(run.first, run.first + run.count)
        wanted = [number for number in wanted if number >= run.first + run.count]
    assert len(read) == len(set(read))
    assert set(numbers) <= set(read)
