"""A chattering contact is told in few rows, and everything else as it comes."""

from __future__ import annotations

from collections import Counter

from gateway.domain.events import EventDraft, EventName
from gateway.watch.condensing import Condenser
from gateway.watch.telling import Told
from tests.fakes.quay import Quay

POLL_S = 0.2


def _change(violated: bool, number: int = 1) -> Told:
    return Told(EventDraft(EventName.INPUT_CHANGED, "slip-gate", {"input": number, "violated": violated}))


def _looks(condenser: Condenser, changes: dict[float, bool], until_s: float) -> list[tuple[float, dict[str, object]]]:
    """Rows told by looks every 200 ms, for changes at these times (each found by the next look)."""
    rows = []
    due = sorted(changes.items())
    for look in range(1, round(until_s / POLL_S) + 1):
        at = look * POLL_S
        now = []
        while due and due[0][0] <= at:
            when, level = due.pop(0)
            now.append(Told(_change(level).draft, when))
        rows += [(at, dict(one.draft.data)) for one in condenser.condense(now, at, at)]
    return rows


def test_an_hour_of_50_changes_a_second_is_two_rows_a_minute() -> None:
    """At most 5 rows in any minute, so that with the condition itself there are 6; no change goes uncounted."""
    changes = {n / 50: n % 2 == 0 for n in range(1, 3600 * 50)}
    condenser = Condenser()
    rows = _looks(condenser, changes, 3700)
    per_minute = Counter(int(at // 60) for at, _ in rows)
    assert max(per_minute.values()) <= 5
    assert per_minute[30] == 2
    told = sum(int(str(data.get("changes", 1))) for _, data in rows)
    assert told == len(changes)
    assert rows[-1][1]["violated"] == changes[max(changes)]
    assert rows[-1][0] < 3603
    assert not condenser.holds


def test_a_busy_barrier_is_told_as_it_moves() -> None:
    """Four cycles a minute for an hour: every change in its own row, at the look that finds it."""
    changes = {float(n) * 7.5: n % 2 == 1 for n in range(1, 480)}
    rows = _looks(Condenser(), changes, 3700)
    assert len(rows) == len(changes)
    assert all("changes" not in data for _, data in rows)


def test_a_bounce_ends_with_the_level_at_rest() -> None:
    """A contact that bounces as the gate arrives is told once it rests, within 2 s and a look."""
    changes = {10 + n * 0.05: n % 2 == 0 for n in range(9)}
    rows = _looks(Condenser(), changes, 20)
    assert rows[-1][1] == {"input": 1, "violated": True, "changes": 6}
    assert rows[-1][0] <= max(changes) + 2.3


def test_bursts_that_never_stop_stay_within_ten_rows_a_minute() -> None:
    """Bounces every 3 s for an hour: 200 MiB a day would be 15,000 commits (13.5 kB each, measured)."""
    changes = {start * 3.0 + n * 0.05: n % 2 == 0 for start in range(1, 1200) for n in range(6)}
    rows = _looks(Condenser(), changes, 3600)
    assert len(rows) <= 3600 / 6 + 25


def test_contacts_have_their_own_budgets() -> None:
    """One that chatters delays nothing of another."""
    condenser = Condenser()
    for look in range(1, 300):
        news = [_change(n % 2 == 0) for n in range(10)]
        condenser.condense(news, look * POLL_S, None)
    other = _change(True, number=2)
    assert condenser.condense([other], 60.0, None)[0] is other


def test_lost_ring_entries_add_up() -> None:
    """A ring that turns over at every poll is told in few rows, with how many entries were lost in all."""
    condenser = Condenser()
    rows = []
    for look in range(1, 600):
        one = Told(EventDraft(EventName.RING_OVERRUN, "slip-gate", {"lost": 3, "next_event": look}))
        rows += condenser.condense([one], look * POLL_S, None)
    assert len(rows) <= 8
    assert rows[-1].draft.data["lost"] > 300
    assert rows[-1].draft.data["changes"] > 100


async def test_a_chattering_input_through_the_whole_watch() -> None:
    """Five minutes of 50 Hz at a receiver: few rows and few commits, the level at its end, and presses in between."""
    quay = Quay()
    async with quay.watching():
        commits = len(quay.store.journal.commits)
        for n in range(300 * 50):
            quay.receiver.board.set_input(1, n % 2 == 0)
            if n % 5000 == 2500:
                quay.receiver.board.press(77)
            await quay.clock.advance(0.02)
        await quay.clock.advance(5)
        rows = quay.told(EventName.INPUT_CHANGED)
        assert len(rows) <= 5 + 4 * 2 + 1
        assert rows[-1][1]["violated"] is False
        assert len(quay.told(EventName.TRANSMITTER_HEARD)) == 3
        assert len(quay.store.journal.commits) - commits <= len(rows) + 3 + 1
        assert quay.mirror.cursor is not None
        assert quay.mirror.cursor.number == quay.receiver.board.newest
