"""When dates begin and end in the site's zone: days of 23, 24, 25 and 24.5 hours, a leap day, the calendar's ends.

The instants of clock changes are those of the IANA tz database, 2025b, in UTC.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from gateway.domain.date_changes import DateTable
from gateway.domain.roster import Entry

#: Zone, a day on which its clock changes, the instants at which that day begins and ends, and how long it is.
DAYS = [
    ("Europe/Berlin", date(2026, 3, 29), datetime(2026, 3, 28, 23, tzinfo=UTC), 23.0),
    ("Europe/Berlin", date(2026, 10, 25), datetime(2026, 10, 24, 22, tzinfo=UTC), 25.0),
    ("Europe/London", date(2026, 3, 29), datetime(2026, 3, 29, 0, tzinfo=UTC), 23.0),
    ("Europe/London", date(2026, 10, 25), datetime(2026, 10, 24, 23, tzinfo=UTC), 25.0),
    ("America/New_York", date(2026, 3, 8), datetime(2026, 3, 8, 5, tzinfo=UTC), 23.0),
    ("America/New_York", date(2026, 11, 1), datetime(2026, 11, 1, 4, tzinfo=UTC), 25.0),
    ("Australia/Sydney", date(2026, 10, 4), datetime(2026, 10, 3, 14, tzinfo=UTC), 23.0),
    ("Australia/Sydney", date(2026, 4, 5), datetime(2026, 4, 4, 13, tzinfo=UTC), 25.0),
    ("Australia/Lord_Howe", date(2026, 10, 4), datetime(2026, 10, 3, 13, 30, tzinfo=UTC), 23.5),
    ("Australia/Lord_Howe", date(2026, 4, 5), datetime(2026, 4, 4, 13, tzinfo=UTC), 24.5),
    ("Africa/Casablanca", date(2026, 2, 15), datetime(2026, 2, 14, 23, tzinfo=UTC), 25.0),
    ("Africa/Casablanca", date(2026, 3, 22), datetime(2026, 3, 22, 0, tzinfo=UTC), 23.0),
    ("America/Sao_Paulo", date(2026, 10, 18), datetime(2026, 10, 18, 3, tzinfo=UTC), 24.0),
    ("America/Santiago", date(2026, 9, 6), datetime(2026, 9, 6, 4, tzinfo=UTC), 23.0),  # midnight itself is missing
    ("Europe/Berlin", date(2028, 2, 29), datetime(2028, 2, 28, 23, tzinfo=UTC), 24.0),
]


def row(serial: int, since: date | datetime | None, until: date | datetime | None, *sites: str) -> Entry:
    return Entry(2, serial, f"Berth {serial}", sites=sites, valid_from=since, valid_until=until)


@pytest.mark.parametrize(("zone", "day", "start", "hours"), DAYS)
def test_a_day_is_whole_in_the_zone_of_the_site(zone: str, day: date, start: datetime, hours: float) -> None:
    """A row for one day begins with its first moment and ends with the first moment of the next."""
    table = DateTable([row(7, day, day)], ZoneInfo(zone), site="fennel-quay")
    first = table.next_after(start - timedelta(days=3))
    assert first is not None
    assert (first.time, first.begin, first.end) == (start, (7,), ())
    second = table.next_after(first.time)
    assert second is not None
    assert (second.time, second.begin, second.end) == (start + timedelta(hours=hours), (), (7,))
    assert table.next_after(second.time) is None


def test_rows_of_one_instant_are_one_change_and_other_sites_are_none() -> None:
    """Who ends with Saturday and who begins on Sunday change at the same moment; a time is that instant."""
    zone = ZoneInfo("Europe/Berlin")
    noon = datetime(2026, 5, 1, 12, tzinfo=zone)
    rows = [
        row(1, None, date(2026, 5, 2)),
        row(2, date(2026, 5, 3), None, "Fennel-Quay", "weir-lock"),
        row(3, date(2026, 5, 3), None, "weir-lock"),
        row(4, noon, noon + timedelta(minutes=30)),
        row(5, None, None),
    ]
    table = DateTable(rows, zone, site="fennel-quay")
    changes = table.between(datetime.min.replace(tzinfo=UTC), datetime.max.replace(tzinfo=UTC))
    assert [(each.time, each.begin, each.end) for each in changes] == [
        (datetime(2026, 5, 1, 10, tzinfo=UTC), (4,), ()),
        (datetime(2026, 5, 1, 10, 30, tzinfo=UTC), (), (4,)),
        (datetime(2026, 5, 2, 22, tzinfo=UTC), (2,), (1,)),
    ]
    assert table.between(changes[0].time, changes[1].time) == changes[1:2]


def test_the_ends_of_the_calendar() -> None:
    """A last day that never comes and a first one long ago are dates like others."""
    table = DateTable([row(1, date.min, date.max)], ZoneInfo("Australia/Sydney"), site="fennel-quay")
    change = table.next_after(datetime(2026, 1, 1, tzinfo=UTC))
    assert change is not None
    assert change.end == (1,)
