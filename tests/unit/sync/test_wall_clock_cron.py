"""Due times through every clock change: once each, whatever the zone does."""

from __future__ import annotations

import itertools
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from croniter import croniter

from gateway.errors import SettingsFault
from gateway.sync.wall_clock_cron import Every, WallClockCron, parse_rule

#: IANA tz database 2025b: the instants (UTC) at which clocks change in 2026, read from the data.
CHANGES = {
    "Europe/Berlin": ("2026-03-29T01:00", "2026-10-25T01:00"),
    "Europe/London": ("2026-03-29T01:00", "2026-10-25T01:00"),
    "America/New_York": ("2026-03-08T07:00", "2026-11-01T06:00"),
    "Australia/Sydney": ("2026-10-03T16:00", "2026-04-04T16:00"),
    "Australia/Lord_Howe": ("2026-10-03T15:30", "2026-04-04T15:00"),
    "Africa/Casablanca": ("2026-03-22T02:00", "2026-02-15T02:00"),
    "America/Sao_Paulo": (),
}
TIMES = ["00:00", "00:05", "00:30", "00:59", "01:30", "02:00", "02:15", "02:30", "03:00", "23:59"]


def fires(expression: str, zone: ZoneInfo, start: datetime, end: datetime) -> list[datetime]:
    rule = WallClockCron(expression, zone)
    found = []
    due = rule.next_after(start)
    while due is not None and due < end:
        found.append(due)
        due = rule.next_after(due)
    return found


@pytest.mark.parametrize("name", CHANGES)
def test_the_zone_changes_when_the_tz_database_says(name: str) -> None:
    """The dates in this file are those of the installed data: the offset differs on both sides of each."""
    zone = ZoneInfo(name)
    for text in CHANGES[name]:
        change = datetime.fromisoformat(text).replace(tzinfo=UTC)
        before, after = ((change + timedelta(seconds=s)).astimezone(zone).utcoffset() for s in (-1, 0))
        assert before != after


@pytest.mark.parametrize("time", TIMES)
@pytest.mark.parametrize("name", CHANGES)
def test_every_day_of_2026_has_exactly_one_run(name: str, time: str) -> None:
    """Each day of the year once, at the time asked for where it exists, else moved forward by the gap.

    Expected from zoneinfo alone: the first instant whose wall time is the one asked for (PEP 495, fold 0).
    """
    zone = ZoneInfo(name)
    hour, minute = (int(part) for part in time.split(":"))
    start = datetime(2026, 1, 1, tzinfo=zone).astimezone(UTC) - timedelta(seconds=1)
    end = datetime(2027, 1, 1, tzinfo=zone).astimezone(UTC)
    found = fires(f"{minute} {hour} * * *", zone, start, end)
    days = [datetime(2026, 1, 1) + timedelta(days=n) for n in range(365)]
    assert found == [day.replace(hour=hour, minute=minute, tzinfo=zone).astimezone(UTC) for day in days]
    assert len(set(found)) == 365
    assert found == sorted(found)


@pytest.mark.parametrize("time", ["00:05", "00:30", "02:30", "12:00"])
@pytest.mark.parametrize("name", ["Europe/Berlin", "America/New_York", "America/Sao_Paulo"])
def test_away_from_changes_an_independent_program_agrees(name: str, time: str) -> None:
    """croniter (another implementation) names the same instants on all days without a clock change."""
    zone = ZoneInfo(name)
    hour, minute = time.split(":")
    expression = f"{int(minute)} {int(hour)} * * mon-fri"
    start = datetime(2026, 1, 1, tzinfo=zone)
    ours = fires(expression, zone, start.astimezone(UTC), datetime(2026, 12, 1, tzinfo=UTC))
    other = croniter(expression, datetime(2026, 1, 1))
    theirs = []
    while (wall := other.get_next(datetime)) < datetime(2026, 11, 30):
        theirs.append(wall.replace(tzinfo=zone).astimezone(UTC))
    assert [due for due in ours if due < theirs[-1]] == theirs[:-1]


@pytest.mark.parametrize("name", CHANGES)
def test_every_quarter_of_an_hour_misses_and_doubles_nothing(name: str) -> None:
    """Around each change: 15 minutes apart on the real time line, but for the hour that the wall shows twice."""
    zone = ZoneInfo(name)
    for text in CHANGES[name]:
        change = datetime.fromisoformat(text).replace(tzinfo=UTC)
        found = fires("*/15 * * * *", zone, change - timedelta(hours=6), change + timedelta(hours=6))
        walls = [due.astimezone(zone).replace(tzinfo=None) for due in found]
        assert len(set(walls)) == len(walls), "the same wall time twice"
        gaps = {b - a for a, b in itertools.pairwise(found)}
        before = (change - timedelta(seconds=1)).astimezone(zone).utcoffset()
        after = change.astimezone(zone).utcoffset()
        assert before is not None
        assert after is not None
        back = max(before - after, timedelta(0))
        assert gaps <= {timedelta(minutes=15), timedelta(minutes=15) + back}


def test_inside_a_half_hour_gap_no_due_time_hides_another() -> None:
    """Lord Howe, 02:00 to 02:30 on 4 October 2026: 02:10 moves to 02:40, and 02:35 comes before it."""
    zone = ZoneInfo("Australia/Lord_Howe")
    found = fires("10,35 2 * * *", zone, datetime(2026, 10, 3, 12, tzinfo=UTC), datetime(2026, 10, 4, 12, tzinfo=UTC))
    assert [due.astimezone(zone).strftime("%H:%M") for due in found] == ["02:35", "02:40"]


def test_it_is_a_trigger_for_apscheduler() -> None:
    """The scheduler's own question gives the same answers."""
    zone = ZoneInfo("Europe/Berlin")
    rule = WallClockCron("30 2 * * *", zone)
    now = datetime(2026, 3, 29, 0, 0, tzinfo=UTC)
    first = rule.get_next_fire_time(None, now)
    assert first == datetime(2026, 3, 29, 1, 30, tzinfo=UTC)
    assert rule.get_next_fire_time(first, first) == datetime(2026, 3, 30, 0, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("30 2 * * 0", "names"),
        ("30 2 * * 1-5", "names"),
        ("30 2 1 * mon", "day of the month together with a weekday"),
        ("30 2 * *", "4 fields"),
        ("61 2 * * *", "can't be read"),
        ("30 2 * * noday", "can't be read"),
        ("every 5 s", "at least"),
        ("every day", "2 fields"),
    ],
)
def test_what_could_be_misread_is_refused(text: str, says: str) -> None:
    """Numbers of weekdays differ between programs (0 is Monday in one and Sunday in the other); the remedy helps."""
    with pytest.raises(SettingsFault, match=says) as fault:
        parse_rule(text, ZoneInfo("Europe/Berlin"))
    assert "30 2 * * mon-fri" in fault.value.remedy


@pytest.mark.parametrize(("text", "seconds"), [("every 15 min", 900), ("Every 2 h", 7200), ("every 90s", 90)])
def test_intervals(text: str, seconds: int) -> None:
    """Plain intervals in seconds, minutes or hours."""
    assert parse_rule(text, ZoneInfo("UTC")) == Every(seconds)


def test_a_sunday_is_a_sunday() -> None:
    """`sun` fires on Sundays."""
    found = fires("0 12 * * sun", ZoneInfo("UTC"), datetime(2026, 1, 1, tzinfo=UTC), datetime(2026, 2, 1, tzinfo=UTC))
    assert {due.strftime("%A") for due in found} == {"Sunday"}
    assert len(found) == 4
