"""When a mail may go."""

from __future__ import annotations

from datetime import UTC, datetime, time
from zoneinfo import ZoneInfo

import pytest

from gateway.outlets.mail_pace import HourlyLimit, QuietHours

BERLIN = ZoneInfo("Europe/Berlin")
NIGHT = QuietHours(time(22, 0), time(6, 30), BERLIN)


@pytest.mark.parametrize(
    ("local", "hours"),
    [
        (datetime(2026, 3, 2, 21, 59), 0),
        (datetime(2026, 3, 2, 22, 0), 8.5),
        (datetime(2026, 3, 3, 0, 0), 6.5),
        (datetime(2026, 3, 3, 6, 29), 1 / 60),
        (datetime(2026, 3, 3, 6, 30), 0),
        (datetime(2026, 3, 28, 22, 0), 7.5),  # the clock goes forward that night: IANA tz 2025b, 29 March 2026
        (datetime(2026, 10, 24, 22, 0), 9.5),  # and back in this one, 25 October 2026
    ],
)
def test_over_midnight(local: datetime, hours: float) -> None:
    """Quiet by the wall clock of the site, also when that is changed in the night."""
    now = local.replace(tzinfo=BERLIN).astimezone(UTC)
    assert NIGHT.left_s(now) == pytest.approx(hours * 3600)


def test_within_a_day() -> None:
    """A noon rest ends on the same day."""
    noon = QuietHours(time(12, 0), time(14, 0), UTC)
    assert noon.left_s(datetime(2026, 3, 2, 13, 0, tzinfo=UTC)) == 3600
    assert noon.left_s(datetime(2026, 3, 2, 15, 0, tzinfo=UTC)) == 0


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
