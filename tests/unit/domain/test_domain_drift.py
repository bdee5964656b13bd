"""What foreign changes make of one another: undone, repeated, and settled by what the memory then holds."""

from __future__ import annotations

from datetime import UTC, datetime

from hypothesis import given
from hypothesis import strategies as st

from gateway.domain.drift import Drift, DriftPolicy, found, outputs_of, settled
from gateway.domain.receiver import Origin, Slot

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
SERIAL = 48231907
PAIRS = st.frozensets(st.tuples(st.integers(1, 4), st.integers(1, 3)), max_size=5)
ORIGINS = st.sampled_from([Origin.BOARD, Origin.LINE, None])


def slots(pairs: frozenset[tuple[int, int]]) -> list[Slot]:
    return [Slot(5, SERIAL, 4, outputs_of(pairs))] if pairs else []


def change(
    before: frozenset[tuple[int, int]],
    after: frozenset[tuple[int, int]],
    known: Drift | None = None,
    origin: Origin | None = Origin.BOARD,
) -> Drift | None:
    return found("slip-gate", SERIAL, slots(before), slots(after), known=known, origin=origin, now=NOON)


@given(PAIRS, PAIRS, PAIRS, ORIGINS)
def test_two_changes_are_as_good_as_one(first: frozenset, second: frozenset, third: frozenset, origin: Origin) -> None:  # type: ignore[type-arg]
    """Whatever the way: what is given and taken is the difference between the first state and the last."""
    twice = change(second, third, change(first, second, origin=origin), origin)
    assert (twice.given_pairs if twice else frozenset()) == third - first
    assert (twice.taken_pairs if twice else frozenset()) == first - third


@given(PAIRS, PAIRS)
def test_found_again_it_is_the_same(before: frozenset, after: frozenset) -> None:  # type: ignore[type-arg]
    """The mirror could not be kept after the ledger was: the same change is found once more and counts once."""
    once = change(before, after)
    assert change(before, after, once) == once


@given(PAIRS, PAIRS, PAIRS, PAIRS)
def test_what_was_taken_ends_only_when_it_is_back(
    before: frozenset,  # type: ignore[type-arg]
    after: frozenset,  # type: ignore[type-arg]
    held: frozenset,  # type: ignore[type-arg]
    wanted: frozenset,  # type: ignore[type-arg]
) -> None:
    """The roster's wishes end what was given, never what was taken."""
    drift = change(before, after)
    if drift is None:
        return
    left = settled(drift, slots(held), wanted)
    assert (left.taken_pairs if left else frozenset()) == (before - after) - held
    if left is not None:
        assert not left.given_pairs & wanted
        assert left.given_pairs <= held


@given(PAIRS, PAIRS)
def test_adopted_stays_under_every_policy_and_condemned_under_none(before: frozenset, after: frozenset) -> None:  # type: ignore[type-arg]
    """What a person said outweighs the settings."""
    drift = change(before, after)
    if drift is None:
        return
    for policy in DriftPolicy:
        assert drift.adopted("office").holding(policy) == after - before
        assert drift.adopted("office").condemned("office").holding(policy) == frozenset()
        assert drift.given_back("office").taken_pairs == frozenset()


def test_taken_at_the_board_stays_so_when_a_tool_comes_after() -> None:
    """A later change over the line doesn't turn it into something that the settings may give back."""
    board = change(frozenset({(1, 1), (2, 2)}), frozenset({(1, 1)}))
    later = change(frozenset({(1, 1)}), frozenset({(1, 1), (3, 3)}), board, Origin.LINE)
    assert later is not None
    assert later.stands(DriftPolicy.REMOVE)
    line = change(frozenset({(1, 1)}), frozenset(), origin=Origin.LINE)
    assert line is not None
    assert not line.stands(DriftPolicy.REMOVE)
    assert line.stands(DriftPolicy.REPORT)
