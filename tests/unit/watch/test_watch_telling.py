"""Ring and status together: a change is told once, whichever shows it first."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from gateway.domain.receiver import BoardEvent, Origin, RingEntry, RingPlace, Status
from gateway.watch.spans import Reading
from gateway.watch.telling import Names, View, tell_differences, tell_entries

QUIET = Status((False, False), (False,))


def entry(number: int, kind: BoardEvent, contact: int, value: int) -> RingEntry:
    return RingEntry(RingPlace(1, number), 10.0, kind, Origin.BOARD, number=contact, value=value)


def test_a_status_ahead_of_its_ring_tells_first_and_the_ring_does_not_repeat_it() -> None:
    """A board that shows a contact in its status before the ring has the entry is told once."""
    violated = Status((True, False), (False,))
    assert [told.draft.data for told in tell_differences("gate", View.of(QUIET), violated, Names())] == [
        {"input": 1, "name": "", "violated": True}
    ]
    told, view = tell_entries("gate", [entry(1, BoardEvent.INPUT, 1, 1)], View.of(violated), None, Names())
    assert told == []
    assert view == View.of(violated)


def test_after_a_loss_the_next_entry_is_told_whatever_it_says() -> None:
    """Closed was told; a restart opened it unseen; closed again is news, and only once."""
    view = View.of(Status((False, False), (True,))).in_doubt()
    entries = [entry(1, BoardEvent.OUTPUT, 1, 1), entry(2, BoardEvent.OUTPUT, 1, 1)]
    told, view = tell_entries("gate", entries, view, None, Names())
    assert [one.draft.data["closed"] for one in told] == [True]
    assert tell_differences("gate", view, Status((False, False), (True,)), Names()) == []


def test_a_contact_that_the_status_does_not_have_is_told_as_the_ring_says() -> None:
    """An entry beyond the stated number of inputs is passed on, not dropped and not a crash."""
    told, _ = tell_entries("gate", [entry(1, BoardEvent.INPUT, 9, 1)], View.of(QUIET), None, Names())
    assert [one.draft.data for one in told] == [{"input": 9, "name": "", "violated": True}]


def test_a_span_holds_the_moment_and_grows_with_age() -> None:
    """Whole seconds of uptime, the time of reading and the board's clock make the uncertainty."""
    end = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
    reading = Reading(end, 0.05, 1000, 0.2)
    recent = reading.of_uptime(999.5)
    assert recent.earliest <= end - timedelta(seconds=1.5) < recent.latest <= end
    assert Reading(end, 0.05, 1_000_000, 0.2).of_uptime(0).latest > end - timedelta(seconds=1_000_000)
    assert reading.of_gap().latest - reading.of_gap().earliest == timedelta(seconds=0.2)
    ahead = reading.of_uptime(1000.9)
    assert ahead.earliest <= ahead.latest <= end
