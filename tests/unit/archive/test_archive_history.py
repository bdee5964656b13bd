"""Who had access to what, over the real store and a moved clock: days, rosters, wrong clocks, gaps, retention."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable, Iterable, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from gateway.archive.access import AccessReader, day_of
from gateway.archive.historian import Historian
from gateway.archive.story import StoryReader
from gateway.domain.events import EventDraft, EventName
from gateway.domain.gate import Gate
from gateway.domain.history import AccessDay
from gateway.domain.mirror import Mirror
from gateway.domain.plan import Change, ChangeKind, Plan, PlanState
from gateway.domain.receiver import Slot
from gateway.domain.roster import Entry, Roster
from gateway.domain.transmitter import write_serial
from gateway.errors import NotFound, Refused
from gateway.ports import Commit, ReceiverFacts, RosterAcceptance
from gateway.store.opening import Store, open_store
from tests.fakes.clock import FakeClock
from tests.fakes.receipts import a_receipt
from tests.fakes.store_samples import IDENTITY, LIMITS, FixedTrust
from tests.fakes.sync_house import entry

LONDON = ZoneInfo("Europe/London")
FACTS = (ReceiverFacts("slip-gate", {1: "gate", 2: "boat-hoist"}), ReceiverFacts("car-park", {1: "barrier"}))
GATES = {
    "slip-gate": Gate("slip-gate", "Slip gate", "slip-gate", outputs=(1,)),
    "hoist": Gate("hoist", "Boat hoist", "slip-gate", outputs=(2,)),
}
MONDAY = date(2026, 3, 2)
GATE, HOIST = {1: {1}}, {1: {1}, 2: {2}}


class Past:
    """A store that is opened again and again, and the questions to it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.clock = FakeClock(datetime(2026, 3, 2, 8, 0, tzinfo=UTC))
        self.trust = FixedTrust()
        self.boot = "boot-1"
        self._store: Store | None = None

    @property
    def store(self) -> Store:
        assert self._store is not None
        return self._store

    async def open(self, boot: str = "") -> None:
        """Start, or start anew, perhaps after the whole system did."""
        if self._store is not None:
            await self._store.close()
        self.boot = boot or self.boot
        self._store = await open_store(self.folder, self.clock, self.trust, boot_id=self.boot, reserve_bytes=4096)

    async def close(self) -> None:
        await self.store.close()

    def at(self, text: str) -> None:
        """Move wall time to an instant, written in UTC."""
        self.clock.step_wall(datetime.fromisoformat(text).replace(tzinfo=UTC) - self.clock.now())

    async def hold(self, slots: Mapping[int, tuple[int, Mapping[int, set[int]]]], receiver: str = "slip-gate") -> None:
        """The memory was read, and holds these: serial and rights by slot."""
        held = {n: Slot(n, serial, 2, _outputs(pairs), f"Slot {n}") for n, (serial, pairs) in slots.items()}
        crcs = tuple(range(32))
        await self.store.journal.commit(Commit(mirror=Mirror(receiver, IDENTITY, LIMITS, 7, held, crcs)))

    async def accept(self, *entries: Entry, digest: str, revision: int | None = None) -> None:
        """A roster is accepted."""
        roster = Roster(entries, digest)
        await self.store.roster_book.note(roster, RosterAcceptance(digest, self.clock.now(), revision), now=True)

    async def tell(self, name: EventName, receiver: str = "", **data: object) -> None:
        await self.store.journal.commit(Commit(events=(EventDraft(name, receiver, data),)))

    def historian(self, zone: ZoneInfo = LONDON) -> Historian:
        store = self.store
        access = AccessReader(
            history=store.history, receipts=store.receipts, facts=FACTS, gates=GATES, site="fennel-quay", zone=zone
        )
        stories = StoryReader(
            history=store.history, facts=FACTS, revoked=store.ledger.revocations, zone=zone, heard_days=90,
            history_days=730,
        )  # fmt: skip
        return Historian(access, stories, clock=self.clock, trust=self.trust, zone=zone)

    async def on(self, day: date, receiver: str | None = "slip-gate", gate: str | None = None) -> AccessDay:
        return await self.historian().on(day, receiver=receiver, gate=gate)

    async def story(self, serial: int) -> list[str]:
        return [f"{c.basis}: {c.words}" for c in (await self.historian().story(serial)).chapters]


def _outputs(pairs: Mapping[int, Iterable[int]]) -> tuple[frozenset[int], ...]:
    return tuple(frozenset(pairs.get(place, ())) for place in range(1, 9))


def words(day: AccessDay, basis: str = "memory") -> list[str]:
    return [row.words for row in day.rows if row.basis == basis]


@pytest.fixture
async def past(tmp_path: Path) -> AsyncIterator[Past]:
    past = Past(tmp_path / "state")
    await past.open()
    yield past
    await past.close()


Step = Callable[[Past], Awaitable[None]]


async def three_revisions(past: Past) -> None:
    """Monday: 1 and 2. Wednesday 10:00: 1 gains the hoist, 2 leaves, 3 comes. Friday 14:05:09: 1 leaves."""
    await past.accept(entry(1), entry(2), digest="d1")
    await past.hold({1: (1, GATE), 2: (2, GATE)})
    past.at("2026-03-04 10:00:00")
    await past.accept(entry(1, "1:slip-gate/gate 2:slip-gate/boat-hoist"), entry(3), digest="d2")
    await past.hold({1: (1, HOIST), 2: (3, GATE)})
    past.at("2026-03-06 14:05:09")
    await past.accept(entry(3), digest="d3")
    await past.hold({2: (3, GATE)})
    past.at("2026-03-09 12:00:00")


# --- a day ---


async def test_who_had_access_on_each_day_of_a_week(past: Past) -> None:
    """To the second, from what the memory held; also after a restart."""
    await three_revisions(past)
    for _ in range(2):
        one = "Berth 1, transmitter 0000000001: position 1 works gate"
        assert words(await past.on(MONDAY)) == [
            f"{one}; from 08:00:00",
            "Berth 2, transmitter 0000000002: position 1 works gate; from 08:00:00",
        ]
        assert words(await past.on(date(2026, 3, 3))) == [
            f"{one}; all day",
            "Berth 2, transmitter 0000000002: position 1 works gate; all day",
        ]
        assert words(await past.on(date(2026, 3, 4))) == [
            f"{one}; until 10:00:00",
            f"{one}; position 2 works boat-hoist; from 10:00:00",
            "Berth 2, transmitter 0000000002: position 1 works gate; until 10:00:00",
            "Berth 3, transmitter 0000000003: position 1 works gate; from 10:00:00",
        ]
        assert words(await past.on(date(2026, 3, 6)))[0] == f"{one}; position 2 works boat-hoist; until 14:05:09"
        assert words(await past.on(date(2026, 3, 7))) == [
            "Berth 3, transmitter 0000000003: position 1 works gate; all day"
        ]
        await past.open()


async def test_one_gate_and_one_receiver(past: Past) -> None:
    """A gate's outputs alone, with nobody who can't work them; unknown names are refused with those that there are."""
    await three_revisions(past)
    thursday = date(2026, 3, 5)
    (row,) = (await past.on(thursday, None, "hoist")).rows
    assert (row.serial, [(right.position, right.outputs) for right in row.rights]) == (1, [("2", ("boat-hoist",))])
    assert [row.serial for row in (await past.on(thursday, None, "slip-gate")).rows] == [1, 3]
    assert {day.receiver for day in (await past.on(thursday, None)).receivers} == {"slip-gate", "car-park"}
    with pytest.raises(NotFound, match="no gate boathouse"):
        await past.on(thursday, None, "boathouse")
    with pytest.raises(NotFound, match="no receiver boathouse"):
        await past.on(thursday, "boathouse")


async def test_merely_on_the_roster_is_not_access(past: Past) -> None:
    """A row that no memory held is shown apart, with its dates; one for another site not at all."""
    await past.accept(
        entry(1),
        entry(2, valid_from=date(2026, 4, 1)),
        entry(3, sites=("other-site",)),
        digest="d1",
    )
    await past.hold({1: (1, GATE)})
    past.at("2026-03-09 12:00:00")
    day = await past.on(date(2026, 3, 3))
    assert [row.serial for row in day.rows if row.basis == "memory"] == [1]
    (wanted,) = words(day, "roster")
    assert wanted == (
        "Berth 2, transmitter 0000000002: on the roster all day (position 1 works gate; valid from 2026-04-01), "
        "and not in the receiver's memory"
    )


async def test_names_are_those_of_the_day(past: Past) -> None:
    """A transmitter that was handed on is told under who had it then; without a roster by the receiver's own name."""
    await past.hold({1: (1, GATE), 9: (77, GATE)})
    await past.accept(replace(entry(1), holder="Barge crew"), digest="d1")
    past.at("2026-03-05 00:00:00")
    await past.accept(replace(entry(1), holder="Harbour office"), digest="d2")
    past.at("2026-03-09 12:00:00")
    assert (await past.on(date(2026, 3, 3))).rows[0].holder == "Barge crew"
    assert (await past.on(date(2026, 3, 6))).rows[0].holder == "Harbour office"
    assert words(await past.on(date(2026, 3, 3)))[1].startswith("Slot 9, transmitter 0000000077")


async def test_what_was_done_by_hand_is_never_called_proven(past: Past) -> None:
    """Where no line reaches there are no block CRCs, and the answer says so."""
    slots = {1: Slot(1, 1, 2, _outputs(GATE), "Berth 1")}
    manual = Mirror("slip-gate", IDENTITY, LIMITS, 1, slots)
    await past.store.journal.commit(Commit(mirror=manual))
    day = await past.on(MONDAY)
    assert [row.basis for row in day.rows] == ["by-hand"]
    assert "written down by hand, not proven" in day.rows[0].words


# --- what a day is ---


@pytest.mark.parametrize(
    ("zone", "day", "begin", "hours"),
    [
        ("Europe/London", "2026-03-29", "2026-03-29T00:00:00+00:00", 23),  # tz database: forward at 01:00 UTC
        ("Europe/London", "2026-10-25", "2026-10-24T23:00:00+00:00", 25),
        ("America/New_York", "2026-03-08", "2026-03-08T05:00:00+00:00", 23),
        ("Australia/Lord_Howe", "2026-04-05", "2026-04-04T13:00:00+00:00", 24.5),  # half an hour
        ("UTC", "2028-02-29", "2028-02-29T00:00:00+00:00", 24),
    ],
)
def test_a_day_is_as_long_as_the_zone_has_it(zone: str, day: str, begin: str, hours: float) -> None:
    """Days on which clocks change; the dates are those of the tz database."""
    found = day_of(date.fromisoformat(day), ZoneInfo(zone))
    assert found.begin.isoformat() == begin
    assert found.end - found.begin == timedelta(hours=hours)


async def test_the_hour_that_is_there_twice_is_told_apart(past: Past) -> None:
    """25 October in London: 01:30 comes twice; both are told with their offset, and belong to that day."""
    await past.hold({})
    past.at("2026-10-25 00:30:00")
    await past.hold({1: (1, GATE)})
    past.at("2026-10-25 01:30:00")
    await past.hold({})
    past.at("2026-10-25 23:59:59")
    await past.hold({2: (2, GATE)})
    past.at("2026-10-28 00:00:00")
    found = words(await past.on(date(2026, 10, 25)))
    assert found[0].endswith("from 01:30:00 +0100 until 01:30:00 +0000")
    assert found[1].endswith("from 23:59:59 +0000")
    assert words(await past.on(date(2026, 10, 24))) == []
    assert len(words(await past.on(date(2026, 10, 26)))) == 1


async def test_an_instant_at_midnight_belongs_to_the_day_that_begins(past: Past) -> None:
    """Gone at midnight is not there on the next day; come at midnight is not there on the day before."""
    await past.hold({1: (1, GATE)})
    past.at("2026-03-04 00:00:00")
    await past.hold({2: (2, GATE)})
    past.at("2026-03-09 00:00:00")
    assert [row.serial for row in (await past.on(date(2026, 3, 3))).rows] == [1]
    assert [row.serial for row in (await past.on(date(2026, 3, 4))).rows] == [2]


async def test_a_day_to_come_is_refused_and_today_is_not(past: Past) -> None:
    """By a clock that is right; one that isn't can't know."""
    with pytest.raises(Refused) as refused:
        await past.on(date(2026, 3, 3))
    assert refused.value.code == "day-in-future"
    await past.on(MONDAY)
    past.trust.trusted = False
    await past.on(date(2026, 3, 3))


# --- how good the record is ---


async def test_where_the_record_begins_is_said(past: Past) -> None:
    """A day before it is not a day on which nobody had access."""
    await past.hold({1: (1, GATE)})
    (before,) = (await past.on(date(2026, 3, 1))).receivers
    (since,) = (await past.on(MONDAY)).receivers
    assert (before.recorded, since.recorded) == (False, True)
    assert since.recorded_since is not None
    assert since.recorded_since.at == datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
    (never,) = (await past.on(MONDAY, "car-park")).receivers
    assert (never.recorded, never.recorded_since) == (False, None)


async def test_times_in_which_nobody_watched_are_told(past: Past) -> None:
    """A lost link, a gateway that was off (cut or stopped), and another receiver in its place."""
    await past.tell(EventName.GATEWAY_STARTED)
    await past.hold({1: (1, GATE)})
    past.at("2026-03-02 10:00:00")
    await past.tell(EventName.LINK_LOST, "slip-gate")
    past.at("2026-03-02 11:00:00")
    await past.tell(EventName.LINK_RESTORED, "slip-gate")
    past.at("2026-03-02 12:00:00")
    await past.tell(EventName.INPUT_CHANGED, "car-park")  # the last sign of life before a power cut
    past.at("2026-03-03 09:00:00")
    await past.tell(EventName.GATEWAY_STARTED)
    past.at("2026-03-04 09:00:00")
    await past.tell(EventName.RECEIVER_REPLACED, "slip-gate", confirmed=False)
    past.at("2026-03-09 12:00:00")

    async def gaps(day: date) -> list[tuple[str, str, str]]:
        (found,) = (await past.on(day)).receivers
        return [(f"{g.since:%d %H}", f"{g.until:%d %H}" if g.until else "", g.why) for g in found.gaps]

    assert await gaps(MONDAY) == [
        ("02 10", "02 11", "its link was lost"),
        ("02 12", "03 09", "the gateway was off"),
    ]
    assert await gaps(date(2026, 3, 3)) == [("02 12", "03 09", "the gateway was off")]
    assert await gaps(date(2026, 3, 5)) == [("04 09", "", "another receiver answered in its place")]
    (elsewhere,) = (await past.on(MONDAY, "car-park")).receivers
    assert [gap.why for gap in elsewhere.gaps] == ["the gateway was off"]


async def test_the_last_proof_before_the_end_of_the_day_is_named(past: Past) -> None:
    """The newest receipt of that receiver from before; none from after, and none whose time is not known."""
    for day, trusted in ((1, True), (2, True), (3, False), (6, True)):
        time = datetime(2026, 3, day, 2, 30, tzinfo=UTC)
        await past.store.receipts.add(a_receipt("slip-gate", time=time, clock_trusted=trusted))
        await past.store.receipts.add(a_receipt("car-park", time=time))
    past.at("2026-03-09 12:00:00")
    for day, expected in ((1, "00000001-slip-gate"), (4, "00000003-slip-gate"), (6, "00000007-slip-gate")):
        (found,) = (await past.on(date(2026, 3, day))).receivers
        assert found.receipt == expected
    (none,) = (await past.on(date(2026, 2, 20))).receivers
    assert (none.receipt, none.receipt_time) == ("", None)


# --- a clock that was wrong ---


async def test_a_clock_that_becomes_right_in_the_same_start_dates_exactly(past: Past) -> None:
    """A gateway without a battery boots in 1970: once the time is known, the monotonic clock says when it was."""
    past.trust.trusted = False
    past.at("1970-01-01 00:00:10")
    await past.hold({1: (1, GATE)})
    await past.clock.advance(3600)
    await past.hold({1: (1, GATE), 2: (2, GATE)})
    await past.clock.advance(1800)
    past.at("2026-03-02 12:00:00")
    past.trust.trusted = True
    await past.tell(EventName.CLOCK_TRUSTED)
    assert [w.rpartition("; ")[2] for w in words(await past.on(MONDAY))] == ["from 10:30:00", "from 11:30:00"]


async def test_a_cut_before_the_clock_was_right_leaves_bounds_and_says_so(past: Past) -> None:
    """Another start of the system: after the last time that was known, before this start."""
    await past.hold({1: (1, GATE)})
    past.trust.trusted = False
    past.at("1970-01-01 00:00:10")
    await past.hold({1: (1, GATE), 2: (2, GATE)})
    await past.open("boot-2")
    past.at("2026-03-05 12:16:40")  # 1000 s after this start
    past.trust.trusted = True
    await past.tell(EventName.CLOCK_TRUSTED)
    (_, row) = (await past.on(date(2026, 3, 3))).rows
    assert not row.certain
    assert row.first.earliest == datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
    assert row.first.latest == datetime(2026, 3, 5, 12, 0, tzinfo=UTC)
    assert "when the clock was not known to be right (between 2026-03-02 08:00:00 and 2026-03-05 12:00:00)" in row.words
    assert "(perhaps not on this day)" in row.words
    assert [r.certain for r in (await past.on(date(2026, 3, 5))).rows] == [True, True]
    assert [r.serial for r in (await past.on(date(2026, 3, 1))).rows] == []


async def test_while_the_clock_is_wrong_nothing_is_dated_by_it(past: Past) -> None:
    """A clock that runs backwards, untrusted: what it did is bounded from below alone, and no day is certain."""
    await past.hold({1: (1, GATE)})
    past.trust.trusted = False
    past.at("2025-12-01 00:00:00")
    await past.hold({})
    (row,) = (await past.on(MONDAY)).rows
    assert row.last is not None
    assert (row.last.at, row.last.earliest) == (None, datetime(2026, 3, 2, 8, 0, tzinfo=UTC))
    assert [r.serial for r in (await past.on(date(2025, 12, 1))).rows] == []


async def test_a_roster_accepted_by_a_wrong_clock_is_dated_later(past: Past) -> None:
    """Revisions have moments like everything else."""
    past.trust.trusted = False
    past.at("1970-01-01 00:00:10")
    await past.accept(entry(1), digest="d1")
    (unknown,) = await past.store.history.revisions()
    assert (unknown.accepted.at, unknown.accepted.trusted) == (None, False)
    past.at("2026-03-02 12:00:00")
    past.trust.trusted = True
    await past.tell(EventName.CLOCK_TRUSTED)
    (known,) = await past.store.history.revisions()
    assert (known.accepted.at, known.accepted.trusted) == (datetime(2026, 3, 2, 12, 0, tzinfo=UTC), False)


# --- rosters ---


async def test_revisions_are_counted_and_listed_by_page(past: Past) -> None:
    """What each one changed; the same roster twice is one revision, signed anew it is another."""
    await three_revisions(past)
    await past.accept(entry(3), digest="d3")
    await past.accept(entry(3), digest="d3", revision=8)
    found = await past.store.history.revisions()
    assert [(r.digest, r.revision, r.transmitters, r.added, r.changed, r.removed) for r in found] == [
        ("d3", 8, 1, 0, 0, 0), ("d3", None, 1, 0, 0, 1), ("d2", None, 2, 1, 1, 1), ("d1", None, 2, 2, 0, 0),
    ]  # fmt: skip
    assert [r.number for r in await past.store.history.revisions(limit=2, before=3)] == [2, 1]


async def test_a_row_that_moved_in_its_file_did_not_change(past: Past) -> None:
    """Row numbers and notes are not access."""
    await past.accept(entry(1), entry(2), digest="d1")
    await past.accept(entry(2), replace(entry(1), row=9, note="spare key in the office"), digest="d2")
    newest = (await past.store.history.revisions())[0]
    assert (newest.added, newest.changed, newest.removed) == (0, 0, 0)


# --- one transmitter ---


async def test_one_transmitters_whole_story(past: Past) -> None:
    """On the roster, written, other rights, moved, pressed, revoked, proven gone, off the roster."""
    serial = write_serial(1)
    await past.hold({})
    await past.accept(entry(1), digest="d1" * 32)
    added = Change(ChangeKind.ADDED, 4, None, Slot(4, 1, 2, _outputs(GATE)), "slot 4: Berth 1 is added")
    other = Change(ChangeKind.ADDED, 5, None, Slot(5, 11, 2, _outputs(GATE)), "slot 5: Berth 11 is added")
    plan = Plan("p1", "slip-gate", past.clock.now(), "d1", 1, (added, other), 0, 1.0, PlanState.APPLIED, receipt="7")
    done = EventDraft(EventName.PLAN_APPLIED, "slip-gate", {"plan": "p1"})
    line = {"slots": [{"slot": 4, "serial": serial, "origin": "line"}]}
    wrote = EventDraft(EventName.SLOT_CHANGED, "slip-gate", line)
    mirror = Mirror("slip-gate", IDENTITY, LIMITS, 8, {4: Slot(4, 1, 2, _outputs(GATE))}, tuple(range(32)))
    await past.store.journal.commit(Commit(events=(wrote,), mirror=mirror))
    await past.store.journal.commit(Commit(events=(done,), plans=(plan,)))
    past.at("2026-03-03 09:00:00")
    board = {"slots": [{"slot": 4, "serial": serial, "origin": "board"}]}
    await past.store.journal.commit(
        Commit(
            events=(EventDraft(EventName.SLOT_CHANGED, "slip-gate", board),),
            mirror=replace(mirror, slots={4: Slot(4, 1, 2, _outputs(HOIST))}),
        )
    )
    drift = {"slots": [{"serial": serial}], "words": [f"Slot 4: transmitter {serial} was changed at the board."]}
    await past.store.journal.commit(Commit(events=(EventDraft(EventName.DRIFT_FOUND, "slip-gate", drift),)))
    past.at("2026-03-04 09:00:00")
    await past.hold({9: (1, HOIST)})
    past.at("2026-03-05 07:00:00")
    for minute in (0, 5):
        past.at(f"2026-03-05 07:0{minute}:00")
        await past.tell(EventName.TRANSMITTER_HEARD, "slip-gate", serial=serial, position="1")
    past.at("2026-03-05 09:00:00")
    await past.tell(EventName.REVOCATION_PENDING, serial=serial, asked_by="harbour office", reason="lost")
    past.at("2026-03-05 09:00:01")
    await past.hold({})
    await past.tell(EventName.REVOCATION_APPLIED, "slip-gate", serial=serial)
    past.at("2026-03-06 09:00:00")
    await past.accept(entry(3), digest="d2" * 32)
    assert await past.story(1) == [
        "roster: is put on the roster as Berth 1 (four-button, at slip-gate position 1 works gate) "
        "[roster revision 1, d1d1d1d1d1d1]",
        "memory: is in slot 4: position 1 works gate (written by the gateway)",
        "order: done (p1, roster, receipt 7): slot 4: Berth 1 is added",
        "memory: has other rights in slot 4: position 1 works gate; position 2 works boat-hoist; "
        "before: position 1 works gate (done at the board)",
        f"board: found changed by another hand: Slot 4: transmitter {serial} was changed at the board.",
        "memory: moves from slot 4 to slot 9: position 1 works gate; position 2 works boat-hoist",
        "radio: was pressed for the last time that is known (position 1)",
        "order: is revoked by harbour office: lost",
        "memory: is gone from slot 9",
        "memory: is proven gone, as revoked",
        "roster: is no longer on the roster [revision 2, d2d2d2d2d2d2]",
    ]
    story = await past.historian().story(1)
    assert story.now == ("The roster in force does not have it.", "No receiver of this site holds it.")
    assert [c.moment.at for c in story.chapters if c.basis == "radio"] == [datetime(2026, 3, 5, 7, 5, tzinfo=UTC)]
    with pytest.raises(NotFound):
        await past.historian().story(2)


async def test_a_story_that_began_before_the_record(past: Past) -> None:
    """It was there already: nobody says that it came then. A return after an absence is a new beginning."""
    await past.hold({1: (1, GATE)})
    past.at("2026-03-03 09:00:00")
    await past.hold({})
    past.at("2026-03-04 09:00:00")
    await past.hold({1: (1, GATE)})
    for minute, serial in ((1, 1), (2, 2), (3, 1)):
        past.at(f"2026-03-04 09:0{minute}:00")
        await past.accept(entry(serial), digest=f"d{serial}")
    assert [w.split(" (")[0].split(" [")[0] for w in await past.story(1)] == [
        "memory: was in slot 1 when the record of this receiver began: position 1 works gate",
        "memory: is gone from slot 1",
        "memory: is in slot 1: position 1 works gate",
        "roster: is put on the roster as Berth 1",
        "roster: is no longer on the roster",
        "roster: is put on the roster as Berth 1",
    ]


async def test_plans_that_were_held_or_failed_are_in_the_story(past: Past) -> None:
    """What was intended and never happened is told as such; one without an event has the time that it knows itself."""
    gone = Change(ChangeKind.REMOVED, 4, Slot(4, 123, 2, _outputs(GATE)), None, "slot 4: Berth is removed")
    near = Change(ChangeKind.REMOVED, 5, Slot(5, 1234, 2, _outputs(GATE)), None, "slot 5: another is removed")
    held = Plan("p1", "slip-gate", past.clock.now(), "d1", 1, (gone, near), 0, 1.0, PlanState.HELD)
    data = {"plan": "p1"}
    await past.store.journal.commit(Commit(events=(EventDraft(EventName.PLAN_HELD, "slip-gate", data),), plans=(held,)))
    older = replace(held, id="p0", state=PlanState.SUPERSEDED)
    oldest = replace(older, id="p-1", state=PlanState.PENDING, clock_trusted=True)
    await past.store.journal.commit(Commit(plans=(older, oldest)))
    story = await past.historian().story(123)
    assert {c.words: c.moment.at is not None for c in story.chapters} == {
        "waits for approval (p1, roster): slot 4: Berth is removed": True,
        "given up for newer changes (p0, roster): slot 4: Berth is removed": False,
        "pending (p-1, roster): slot 4: Berth is removed": True,
    }


# --- retention and damage ---


async def test_retention_forgets_what_ended_and_says_from_when_it_knows(past: Past) -> None:
    """What holds still stays, however old; a day before the edge is not recorded any more; no serial is left behind."""
    await three_revisions(past)
    old = Plan("p1", "slip-gate", datetime(2026, 3, 2, tzinfo=UTC), "d1", 1, (), 0, 1.0, PlanState.APPLIED)
    held = replace(old, id="p2", state=PlanState.HELD)
    await past.store.journal.commit(Commit(plans=(old, held)))
    assert await past.store.history.forget(datetime(2026, 3, 5, tzinfo=UTC)) > 0
    assert [row.serial for row in (await past.on(date(2026, 3, 6))).rows if row.basis == "memory"] == [1, 3]
    day = await past.on(date(2026, 3, 3))
    assert [r.recorded for r in day.receivers] == [False]
    assert [row.serial for row in day.rows] == []
    with pytest.raises(NotFound):
        await past.historian().story(2)
    assert [plan.id for plan in await past.store.plans.newest()] == ["p2"]
    assert await past.store.history.forget(datetime(2026, 3, 5, tzinfo=UTC)) == 0
    await past.store.history.forget(datetime(2030, 1, 1, tzinfo=UTC))
    assert [span.serial for span in await past.store.history.memory()] == [3]
    assert [span.line.serial for span in await past.store.history.roster()] == [3]


async def test_a_lost_database_begins_the_record_anew_and_says_so(past: Past) -> None:
    """The roster in force is noted again with the time that the ledger kept; days before are not claimed."""
    await past.accept(entry(1), digest="d1")
    await past.hold({1: (1, GATE)})
    await past.close()
    for path in past.folder.glob("gatepost.db*"):
        path.unlink()
    past._store = None
    past.at("2026-03-04 12:00:00")
    await past.open()
    await past.hold({1: (1, GATE)})
    acceptance = RosterAcceptance("d1", datetime(2026, 3, 2, 8, 0, tzinfo=UTC), clock_trusted=True)
    await past.store.roster_book.note(Roster((entry(1),), "d1"), acceptance, now=False)
    day = await past.on(date(2026, 3, 3))
    assert [receiver.recorded for receiver in day.receivers] == [False]
    assert words(day) == []
    assert len(words(day, "roster")) == 1
    assert words(await past.on(date(2026, 3, 4)))[0].endswith("from 12:00:00")


@pytest.mark.parametrize("trusted", [True, False])
async def test_a_roster_of_an_earlier_run_is_dated_by_what_the_ledger_kept(past: Past, trusted: bool) -> None:
    """Its time when the clock was right then; else only that it was before the clock was right again."""
    past.trust.trusted = False
    acceptance = RosterAcceptance("d1", datetime(2026, 3, 1, 8, 0, tzinfo=UTC), clock_trusted=trusted)
    await past.store.roster_book.note(Roster((entry(1),), "d1"), acceptance, now=False)
    past.trust.trusted = True
    past.at("2026-03-05 12:16:40")  # 1000 s after the start of the system
    await past.tell(EventName.CLOCK_TRUSTED)
    (revision,) = await past.store.history.revisions()
    expected = acceptance.time if trusted else None
    assert (revision.accepted.at, revision.accepted.earliest) == (expected, expected)
    assert revision.accepted.latest == expected or revision.accepted.latest == datetime(2026, 3, 5, 12, 0, tzinfo=UTC)


async def test_a_mirror_older_than_the_record_begins_it_at_the_start(past: Past) -> None:
    """A database from before there was a record: what the mirror holds is known from the next start on."""
    await past.hold({1: (1, GATE)})
    for table in ("memory_spans", "memory_since", "moments"):
        await past.store._database.write(lambda db, table=table: db.execute(f"delete from {table}"))  # type: ignore[misc]
    past.at("2026-03-04 12:00:00")
    await past.open()
    assert words(await past.on(date(2026, 3, 4)))[0].endswith("from 12:00:00")
    assert words(await past.on(MONDAY)) == []


async def test_a_commit_that_failed_leaves_no_span(past: Past, monkeypatch: pytest.MonkeyPatch) -> None:
    """Mirror and record are one transaction; the next one writes both."""
    await past.hold({})
    journal = past.store.journal

    def broken(*arguments: object) -> None:
        raise ValueError("broken on purpose")

    with monkeypatch.context() as patch:
        patch.setattr(journal._runs, "write", broken)
        with pytest.raises(ValueError, match="on purpose"):
            await past.hold({1: (1, GATE)})
    assert await past.store.history.memory() == ()
    await past.hold({1: (1, GATE)})
    await past.hold({1: (1, GATE)})
    assert len(await past.store.history.memory()) == 1
