"""Dates and times of validity: ISO 8601 in the site's zone, everything else refused with the ISO date."""

from __future__ import annotations

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest

from gateway.roster.cells import Wrong
from gateway.roster.dates import ends_before_it_starts, read_date, starts_a_day

BERLIN = ZoneInfo("Europe/Berlin")
LORD_HOWE = ZoneInfo("Australia/Lord_Howe")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2026-10-31", date(2026, 10, 31)),
        ("'2026-10-31", date(2026, 10, 31)),
        ("2028-02-29", date(2028, 2, 29)),
        ("2026-10-31T18:00", datetime(2026, 10, 31, 17, tzinfo=UTC)),
        ("2026-07-01 18:00", datetime(2026, 7, 1, 16, tzinfo=UTC)),
        ("2026-10-31T18:00:30Z", datetime(2026, 10, 31, 18, 0, 30, tzinfo=UTC)),
        ("2026-10-31T18:00:00.000Z", datetime(2026, 10, 31, 18, tzinfo=UTC)),
        ("2026-10-31T18:00-05:00", datetime(2026, 10, 31, 23, tzinfo=UTC)),
        ("2026-10-25T02:30+02:00", datetime(2026, 10, 25, 0, 30, tzinfo=UTC)),
    ],
)
def test_iso_8601(text: str, expected: date) -> None:
    """ISO 8601 dates and times; RFC 3339 section 5.6 lets a blank stand for the T."""
    found = read_date(text, BERLIN)
    assert found == expected
    assert type(found) is type(expected)


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("31/12/2026", "write 2026-12-31"),
        ("12/31/2026", "write 2026-12-31"),
        ("31.12.2026", "write 2026-12-31"),
        ("31-12-26", "write 2026-12-31"),
        ("2026/12/31", "write 2026-12-31"),
        ("20261231", "write 2026-12-31"),
        ("2026-4-1", "write 2026-04-01"),
        ("31/12/2026 18:00", "write 2026-12-31T18:00"),
        ("01/02/2026", "write 2026-02-01 or 2026-01-02, whichever is meant"),
        ("05/05/2026", "write 2026-05-05"),
        ("46326", "2026-10-31, or 2030-11-01 if the spreadsheet counts from 1904"),
        ("30/02/2026", "write a date as"),
        ("tomorrow", "write a date as"),
        ("2026-02-29", "write a date as"),
        ("2026-10-31T24:30", "from 00:00 to 23:59"),
        ("9999-12-31", "leave the cell empty"),
        ("0226-04-01", "right year"),
    ],
)
def test_other_forms_are_refused_with_the_iso_date(text: str, remedy: str) -> None:
    """One reading possible: the ISO date to write. Two: both. None: the form."""
    wrong = read_date(text, BERLIN)
    assert isinstance(wrong, Wrong)
    assert text in wrong.found
    assert remedy in wrong.remedy
    assert ("whichever" in wrong.remedy) == (text == "01/02/2026")


@pytest.mark.parametrize(
    ("zone", "text", "remedy"),
    [
        (BERLIN, "2026-03-29T02:30", "2026-03-29T03:30:00+02:00"),
        (LORD_HOWE, "2026-10-04T02:15", "2026-10-04T02:45:00+11:00"),
    ],
)
def test_a_time_that_the_clock_change_leaves_out(zone: ZoneInfo, text: str, remedy: str) -> None:
    """Refused, with the time that the clock shows then. Dates of change: IANA tz database, 2025b."""
    wrong = read_date(text, zone)
    assert isinstance(wrong, Wrong)
    assert "never happens" in wrong.found
    assert remedy in wrong.remedy


@pytest.mark.parametrize(
    ("zone", "text", "first", "second"),
    [
        (BERLIN, "2026-10-25T02:30", "02:30:00+02:00", "02:30:00+01:00"),
        (LORD_HOWE, "2026-04-05T01:45", "01:45:00+11:00", "01:45:00+10:30"),
    ],
)
def test_a_time_that_happens_twice(zone: ZoneInfo, text: str, first: str, second: str) -> None:
    """Refused, with both moments written so that they differ. Dates of change: IANA tz database, 2025b."""
    wrong = read_date(text, zone)
    assert isinstance(wrong, Wrong)
    assert "happens twice" in wrong.found
    assert first in wrong.remedy
    assert second in wrong.remedy


@pytest.mark.parametrize(
    ("start", "end", "empty"),
    [
        ("2026-04-01", "2026-04-01", False),
        ("2026-04-02", "2026-04-01", True),
        ("2026-04-01T12:00", "2026-04-01", False),
        ("2026-04-01", "2026-04-01T00:00", True),
        ("2026-04-01T12:00", "2026-04-01T12:00", True),
        ("2026-04-01", "2026-03-31T23:00Z", False),
    ],
)
def test_an_end_before_the_start(start: str, end: str, empty: bool) -> None:
    """A date as an end includes its whole day in the site's zone."""
    limits = read_date(start, BERLIN), read_date(end, BERLIN)
    assert not isinstance(limits[0], Wrong)
    assert not isinstance(limits[1], Wrong)
    assert ends_before_it_starts(limits[0], limits[1], BERLIN) is empty


def test_a_date_that_became_midnight() -> None:
    """`2026-10-31 00:00:00` is what programs make of a date cell: known as the start of a day."""
    midnight = read_date("2026-10-31 00:00:00", BERLIN)
    assert not isinstance(midnight, Wrong)
    assert starts_a_day(midnight, BERLIN)
    assert not starts_a_day(date(2026, 10, 31), BERLIN)
