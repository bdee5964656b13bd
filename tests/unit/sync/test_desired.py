"""What a receiver should hold: rights through kinds, sites, dates, revocations."""

from __future__ import annotations

from collections.abc import Collection
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from gateway.domain.receiver import Limits
from gateway.domain.roster import Entry, Roster
from gateway.domain.transmitter import BUILT_IN_KINDS, Kind
from gateway.sync.desired import Desired, Moment, Shape, desired_slots
from tests.fakes.receiver import some_limits
from tests.fakes.sync_house import BERLIN, entry, facts, roster

NOW = datetime(2026, 6, 15, 10, 0, tzinfo=UTC)
LIMITS = some_limits(slots=32, outputs=3)


def ask(
    what: Roster | Entry,
    *,
    now: datetime = NOW,
    zone: ZoneInfo = BERLIN,
    trusted: bool = True,
    revoked: Collection[int] = (),
    accepted: datetime | None = None,
    earlier: Roster | None = None,
    limits: Limits = LIMITS,
) -> Desired:
    shape = Shape(limits, lambda kind: len(kind.positions), lambda lim, name: name[: lim.name_bytes])
    moment = Moment(now, zone, trusted, accepted, earlier)
    whole = what if isinstance(what, Roster) else roster(what)
    return desired_slots(whole, facts(), shape, moment, site="Fennel-Quay", revoked=revoked)


def test_positions_go_through_the_labels_of_the_kind() -> None:
    """Two buttons together are a position of their own; its place in the kind's list is its number."""
    kinds = {**BUILT_IN_KINDS, "paired": Kind("paired", ("1", "2", "1+2"))}
    row = entry(7, "1+2:slip-gate/boat-hoist 1:slip-gate/1 1:slip-gate/light 2:car-park/barrier", kind="paired")
    place = ask(Roster((row,), "d", kinds)).wanted[7]
    assert place.outputs[:3] == (frozenset({1, 2}), frozenset(), frozenset({3}))
    assert len(place.outputs) == LIMITS.positions
    assert (place.code, place.name) == (3, "Berth 7")


def test_rights_beyond_the_kind_are_left_out_with_a_sentence() -> None:
    """A two-button transmitter has no position 3; the rest of the row stands."""
    found = ask(entry(7, "1:slip-gate/gate 3:slip-gate/light", kind="two-button"))
    assert found.wanted[7].outputs[0] == {1}
    assert found.left_out == ("Berth 7, transmitter 0000000007, has no position 3: light is left out for it.",)


def test_outputs_that_the_receiver_lacks_are_left_out_with_a_sentence() -> None:
    """An unknown name, and a known one beyond the receiver's own count."""
    found = ask(entry(7, "1:slip-gate/gate 2:slip-gate/siren"))
    assert "siren" in found.left_out[0]
    small = ask(entry(7, "1:slip-gate/boat-hoist"), limits=some_limits(outputs=2))
    assert small.wanted == {}
    assert "does not have" in small.left_out[0]


@pytest.mark.parametrize(
    "row",
    [
        entry(7, "1:car-park/barrier"),
        entry(7, ""),
        entry(7, sites=("north-quay",)),
    ],
)
def test_rows_that_name_nothing_here_take_no_slot(row: Entry) -> None:
    """Other receivers, no rights, other sites: listed, not wanted."""
    found = ask(row)
    assert dict(found.wanted) == {}
    assert found.listed == {7}


@pytest.mark.parametrize("sites", [(), ("fennel-quay",), ("north-quay", "FENNEL-QUAY")])
def test_rows_for_this_site(sites: tuple[str, ...]) -> None:
    """No site means all; names are matched without regard to case."""
    assert 7 in ask(entry(7, sites=sites)).wanted


def test_revoked_serials_are_left_out_with_a_sentence() -> None:
    """Whatever the roster says."""
    found = ask(entry(7), revoked={7, 8})
    assert dict(found.wanted) == {}
    assert found.revoked == {7, 8}
    assert found.left_out == (
        "Berth 7, transmitter 0000000007, is revoked and stays out until the revocation is lifted.",
    )


@pytest.mark.parametrize(
    ("valid_from", "valid_until", "local", "is_wanted"),
    [
        (date(2026, 4, 1), None, "2026-03-31T23:59:59", False),
        (date(2026, 4, 1), None, "2026-04-01T00:00:00", True),
        (None, date(2026, 10, 31), "2026-10-31T23:59:59", True),
        (None, date(2026, 10, 31), "2026-11-01T00:00:00", False),
        (date(2026, 3, 29), date(2026, 3, 29), "2026-03-29T23:59:59", True),  # the day has 23 hours
        (date(2026, 3, 29), date(2026, 3, 29), "2026-03-30T00:00:00", False),
        (date(2026, 10, 25), date(2026, 10, 25), "2026-10-25T23:59:59", True),  # 25 hours
        (date(2028, 2, 29), date(2028, 2, 29), "2028-02-29T12:00:00", True),
        (None, date.max, "2026-06-01T00:00:00", True),
    ],
)
def test_dates_are_inclusive_days_of_the_site(
    valid_from: date | None, valid_until: date | None, local: str, is_wanted: bool
) -> None:
    """From the first moment of the first day to the last of the last, in Berlin, also when its clocks change."""
    now = datetime.fromisoformat(local).replace(tzinfo=BERLIN).astimezone(UTC)
    found = ask(entry(7, valid_from=valid_from, valid_until=valid_until), now=now)
    assert (7 in found.wanted) is is_wanted


def test_the_same_instant_is_another_day_elsewhere() -> None:
    """The site's zone decides."""
    row = entry(7, valid_until=date(2026, 6, 15))
    late = datetime(2026, 6, 15, 15, 0, tzinfo=UTC)
    assert 7 in ask(row, now=late).wanted
    assert 7 not in ask(row, now=late, zone=ZoneInfo("Australia/Sydney")).wanted


def test_times_are_instants() -> None:
    """A datetime begins and ends at that moment."""
    row = entry(7, valid_from=NOW, valid_until=NOW + timedelta(hours=1))
    assert 7 not in ask(row, now=NOW - timedelta(seconds=1)).wanted
    assert 7 in ask(row, now=NOW).wanted
    assert 7 in ask(row, now=NOW + timedelta(minutes=59)).wanted
    assert 7 not in ask(row, now=NOW + timedelta(hours=1)).wanted


def test_without_a_trusted_clock_dates_decide_nothing() -> None:
    """Rows with dates are undecided, others are wanted (rule 7 of the design)."""
    rows = roster(entry(1), entry(2, valid_from=date(2020, 1, 1)), entry(3, valid_until=date(2020, 1, 1)), entry(4, ""))
    found = ask(rows, trusted=False)
    assert found.wanted.keys() == {1}
    assert found.undecided == {2, 3}
    assert dict(found.ended) == {}
    assert all("clock" in sentence for sentence in found.left_out)
    assert len(found.left_out) == 2


@pytest.mark.parametrize(
    ("accepted", "earlier_end", "is_foreseen"),
    [
        (datetime(2026, 5, 1, tzinfo=UTC), None, True),  # came after the acceptance
        (datetime(2026, 6, 10, tzinfo=UTC), None, False),  # brought along, already past
        (datetime(2026, 6, 10, tzinfo=UTC), date(2026, 6, 1), True),  # known to the roster before
        (datetime(2026, 6, 10, tzinfo=UTC), date(2026, 12, 1), False),
        (None, None, False),
    ],
)
def test_which_endings_were_foreseen(accepted: datetime | None, earlier_end: date | None, is_foreseen: bool) -> None:
    """Only an ending that an accepted roster already had isn't a removal by a new file (rule 4 of the design)."""
    earlier = roster(entry(7, valid_until=earlier_end), digest="d0") if earlier_end else None
    found = ask(entry(7, valid_until=date(2026, 6, 1)), accepted=accepted, earlier=earlier)
    assert (7 in found.ended) is is_foreseen
    assert 7 not in found.wanted
