"""When dates begin and end, in the site's zone."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from gateway.domain.roster import Entry
from gateway.domain.validity import Validity, begins, ends, validity

LONDON = ZoneInfo("Europe/London")


def test_a_date_is_the_sites_own_day() -> None:
    """On the day that summer time begins it has 23 hours; a time is itself."""
    day = date(2026, 3, 29)
    assert begins(day, LONDON).astimezone(UTC) == datetime(2026, 3, 29, 0, tzinfo=UTC)
    assert ends(day, LONDON).astimezone(UTC) == datetime(2026, 3, 29, 23, tzinfo=UTC)
    time = datetime(2026, 3, 29, 12, tzinfo=UTC)
    assert (begins(time, LONDON), ends(time, LONDON)) == (time, time)
    assert ends(date.max, LONDON).year == 9999


@pytest.mark.parametrize(
    ("start", "end", "trusted", "found"),
    [
        (None, None, False, Validity.NOW),
        (None, date(2026, 3, 2), True, Validity.NOW),
        (None, date(2026, 3, 1), True, Validity.OVER),
        (date(2026, 3, 3), None, True, Validity.NOT_YET),
        (date(2026, 3, 3), None, False, Validity.UNKNOWN),
    ],
)
def test_how_a_row_stands(start: date | None, end: date | None, trusted: bool, found: Validity) -> None:
    """Dates mean nothing to a clock that can't be believed."""
    entry = Entry(2, 1, "Berth 1", valid_from=start, valid_until=end)
    assert validity(entry, datetime(2026, 3, 2, 23, 59, tzinfo=UTC), LONDON, trusted=trusted) is found
