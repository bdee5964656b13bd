"""When a serial is certain, press by press."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.domain.enrolment import EnrolmentStep, EnrolmentWay
from gateway.sync.enrolment_rules import Window, press

A, B = 48231907, 48231911
PRESSED, TWO, SEVERAL = EnrolmentWay.TYPED_AND_PRESSED, EnrolmentWay.TWO_PRESSES, EnrolmentWay.SEVERAL
HEARD, CONFIRMED, CONFLICT = EnrolmentStep.HEARD, EnrolmentStep.CONFIRMED, EnrolmentStep.CONFLICT
LISTENING = EnrolmentStep.LISTENING


def after(window: Window, *serials: int) -> EnrolmentStep:
    for serial in serials:
        window = press(window, serial, "1")
    return window.step


@pytest.mark.parametrize(
    ("way", "typed", "presses", "step"),
    [
        (TWO, None, [], LISTENING),
        (TWO, None, [A], HEARD),
        (TWO, None, [A, A], CONFIRMED),
        (TWO, None, [A, A, A], CONFIRMED),
        (TWO, None, [A, B], CONFLICT),
        (TWO, None, [A, B, A], CONFLICT),
        (TWO, None, [A, A, B], CONFLICT),
        (PRESSED, A, [A], CONFIRMED),
        (PRESSED, A, [B], CONFLICT),
        (PRESSED, A, [B, A], CONFLICT),
        (PRESSED, A, [A, B], CONFLICT),
        (SEVERAL, None, [A], HEARD),
        (SEVERAL, None, [A, A], CONFIRMED),
        (SEVERAL, None, [A, B, B], CONFLICT),
    ],
)
def test_what_presses_make_certain(
    way: EnrolmentWay, typed: int | None, presses: list[int], step: EnrolmentStep
) -> None:
    """One press of the typed serial, two of one transmitter; two different ones are a conflict for good."""
    assert after(Window(way, typed), *presses) is step


def test_two_positions_of_one_transmitter_are_two_presses() -> None:
    """It is the transmitter that is to be certain; the last position is kept for words."""
    window = press(press(Window(TWO), A, "1"), A, "2", "Berth 12")
    assert window.step is CONFIRMED
    assert (window.heard[0].presses, window.heard[0].position, window.heard[0].holder) == (2, "2", "Berth 12")


def test_what_is_certain_already_counts_for_nothing() -> None:
    """A nervous third press of the one before doesn't spoil the next one's window."""
    window = Window(SEVERAL, passed=frozenset({A}))
    assert after(window, A) is LISTENING
    assert after(window, A, B, A, B) is CONFIRMED


@given(st.lists(st.sampled_from([A, B, 7]), max_size=8), st.sampled_from([TWO, SEVERAL]))
def test_only_a_transmitter_that_was_alone_is_ever_certain(presses: list[int], way: EnrolmentWay) -> None:
    """Whatever is pressed in whatever order: certain means two presses or more and nothing else heard."""
    certain = len(presses) >= 2 and len(set(presses)) == 1
    assert (after(Window(way), *presses) is CONFIRMED) == certain


@given(st.lists(st.sampled_from([A, B]), max_size=6))
def test_a_typed_serial_is_confirmed_by_itself_alone(presses: list[int]) -> None:
    """Any other press in the window, before or after, is a conflict."""
    step = after(Window(PRESSED, A), *presses)
    assert (step is CONFIRMED) == (bool(presses) and set(presses) == {A})
