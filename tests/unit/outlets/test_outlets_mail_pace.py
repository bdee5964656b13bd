"""When a mail may go."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest

from gateway.outlets.mail_pace import DailyTime, HourlyLimit, QuietHours

BERLIN = ZoneInfo("Europe/Berlin")
NIGHT = QuietHours(time(22, 0), time(6, 30), BERLIN)
SHORT = QuietHours(time(23, 0), time(2, 30), BERLIN)


@pytest.mark.parametrize(
    ("local", "quiet"),
    [
        (datetime(2026, 3, 2, 21, 59), False),
        (datetime(2026, 3, 2, 22, 0), True),
        (datetime(2026, 3, 3, 0, 0), True),
        (datetime(2026, 3, 3, 6, 29), True),
        (datetime(2026, 3, 3, 6, 30), False),
    ],
)
def test_over_midnight(local: datetime, quiet: bool) -> None:
    """Quiet by the wall clock of the site."""
    assert NIGHT.now(local.replace(tzinfo=BERLIN).astimezone(UTC)) is quiet


@pytest.mark.parametrize(
    ("hours", "night", "last_s"),
    [
        # 29 March and 25 October 2026, 01:00 UTC: IANA tz 2025b
        (NIGHT, datetime(2026, 3, 28, 21, 0, tzinfo=UTC), 7.5),
        (NIGHT, datetime(2026, 10, 24, 20, 0, tzinfo=UTC), 9.5),
        (
            SHORT,
            datetime(2026, 3, 28, 22, 0, tzinfo=UTC),
            3.0,
        ),  # 02:30 does not come: over at 03:00, when 02:00 was due
        (SHORT, datetime(2026, 10, 24, 21, 0, tzinfo=UTC), 4.0),  # 02:00 to 02:30 comes twice
    ],
)
def test_nights_in_which_the_clock_is_changed(hours: QuietHours, night: datetime, last_s: float) -> None:
    """From the begin on, minute by minute: how long it is quiet in all."""
    minutes = [night + timedelta(minutes=n) for n in range(12 * 60)]
    assert sum(hours.now(each) for each in minutes) == last_s * 60


def test_within_a_day() -> None:
    """A noon rest ends on the same day."""
    noon = QuietHours(time(12, 0), time(14, 0), UTC)
    assert noon.now(datetime(2026, 3, 2, 13, 59, tzinfo=UTC))
    assert not noon.now(datetime(2026, 3, 2, 14, 0, tzinfo=UTC))


@pytest.mark.parametrize(
    ("zone", "at", "now", "newest"),
    [
        ("Europe/Berlin", time(7, 30), "2026-03-29T05:29", "2026-03-28T06:30"),
        ("Europe/Berlin", time(7, 30), "2026-03-29T05:30", "2026-03-29T05:30"),
        ("Europe/Berlin", time(2, 30), "2026-03-29T01:29", "2026-03-28T01:30"),  # a time that does not come that day
        ("Europe/Berlin", time(2, 30), "2026-03-29T01:30", "2026-03-29T01:30"),
        ("Europe/Berlin", time(2, 30), "2026-10-25T00:30", "2026-10-25T00:30"),  # and one that comes twice
        ("Europe/Berlin", time(2, 30), "2026-10-25T01:30", "2026-10-25T00:30"),
    ],
)
def test_a_time_of_day(zone: str, at: time, now: str, newest: str) -> None:
    """The last one that is not after now; days of 23 and 25 hours have one too."""
    found = DailyTime(at, ZoneInfo(zone)).newest(datetime.fromisoformat(now).replace(tzinfo=UTC))
    assert found == datetime.fromisoformat(newest).replace(tzinfo=UTC)


def test_so_many_in_an_hour() -> None:
    """The next may go when the first of the hour is an hour old."""
    limit = HourlyLimit(2)
    assert limit.left_s(0.0) == 0
    limit.note(0.0)
    limit.note(600.0)
    assert limit.left_s(700.0) == 2900
    assert limit.left_s(3600.0) == 0
    limit.note(3600.0)
    assert limit.left_s(3700.0) == 500
