"""What one roster changes against another, in words."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from gateway.domain.roster import Entry, Right, Roster
from gateway.domain.transmitter import BUILT_IN_KINDS, Kind
from gateway.sync.roster_words import roster_changes

BERLIN = ZoneInfo("Europe/Berlin")
GATE, HOIST = Right("slip-gate", "1", "gate"), Right("slip-gate", "2", "boat-hoist")
BERTH = Entry(2, 12, "Berth 12", group="berths", rights=(GATE,))
OWN = Entry(3, 13, "Painter", rights=(GATE,), valid_until=date(2026, 5, 29))


def roster(*entries: Entry, kinds: dict[str, Kind] | None = None, **groups: tuple[Right, ...]) -> Roster:
    return Roster(entries, "d", kinds or BUILT_IN_KINDS, groups)


def test_every_difference_is_a_sentence() -> None:
    """Groups first; who comes, who changes, who goes."""
    before = roster(BERTH, OWN, berths=(GATE,))
    after = roster(
        Entry(2, 12, "Berth 13", group="crew", rights=(GATE, HOIST), sites=("fennel-quay",)),
        Entry(3, 14, "Barge", rights=(HOIST,)),
        crew=(GATE, HOIST),
    )
    assert roster_changes(before, after, BERLIN) == (
        "group berths is gone",
        "group crew is new: 1:slip-gate/gate 2:slip-gate/boat-hoist",
        "Berth 12, transmitter 0000000012: holder Berth 12 → Berth 13; group berths → crew; sites all → fennel-quay; "
        "works 1:slip-gate/gate → 1:slip-gate/gate 2:slip-gate/boat-hoist",
        "Barge, transmitter 0000000014: added, 2:slip-gate/boat-hoist",
        "Painter, transmitter 0000000013: removed, had 1:slip-gate/gate until 2026-05-29",
    )


def test_a_groups_change_is_said_once_not_for_each_in_it() -> None:
    """Own rights and kinds are said too."""
    before = roster(BERTH, OWN, berths=(GATE,))
    after = roster(
        Entry(2, 12, "Berth 12", group="berths", rights=(HOIST,)),
        Entry(3, 13, "Painter", rights=(HOIST,), valid_until=date(2026, 5, 29)),
        kinds={**BUILT_IN_KINDS, "pair": Kind("pair", ("1", "1+2"))},
        berths=(HOIST,),
    )
    assert roster_changes(before, after, BERLIN) == (
        "group berths: 1:slip-gate/gate → 2:slip-gate/boat-hoist",
        "the positions of kind pair changed",
        "Painter, transmitter 0000000013: rights 1:slip-gate/gate → 2:slip-gate/boat-hoist",
    )


def test_joining_and_leaving_a_group_name_where_the_rights_come_from() -> None:
    """Whoever leaves a group with the same rights is not left with none."""
    own = Entry(2, 12, "Berth 12", rights=(GATE,))
    before, after = roster(BERTH, berths=(GATE,)), roster(own, berths=(GATE,))
    who = "Berth 12, transmitter 0000000012:"
    assert roster_changes(before, after, BERLIN) == (f"{who} group berths → rights of its own",)
    assert roster_changes(after, before, BERLIN) == (f"{who} rights of its own → group berths",)


def test_times_are_those_of_the_site() -> None:
    """As they can be typed again, also in the hour that happens twice."""
    until = [datetime(2026, 10, 25, hour, 30, tzinfo=UTC) for hour in (0, 1)]
    first, second = (roster(Entry(2, 12, "Berth 12", rights=(GATE,), valid_until=each)) for each in until)
    assert roster_changes(first, second, BERLIN) == (
        "Berth 12, transmitter 0000000012: valid until 2026-10-25 02:30+02:00 → 2026-10-25 02:30+01:00",
    )


def test_nothing_is_no_words_and_very_much_is_bounded() -> None:
    """A whole new file is not told row by row for ever."""
    many = roster(*(Entry(n, n, f"Berth {n}", rights=(GATE,)) for n in range(2, 1002)))
    assert roster_changes(many, many, BERLIN) == ()
    words = roster_changes(None, many, BERLIN)
    assert (len(words), words[-1]) == (201, "and 800 changes more")
