"""The roster in force: no source, no change; told once; there again after a restart."""

from __future__ import annotations

import asyncio
import inspect
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

import pytest

from gateway.domain.events import EventName
from gateway.domain.roster import Fault, Roster
from gateway.errors import GatepostError, SourceRefused, SourceUnreachable
from gateway.ports import EventFilter, Fetched, NotModified, ReceiverFacts, RosterAcceptance, RosterCheck
from gateway.sync.due import Due
from gateway.sync.following import follow
from gateway.sync.roster_keeper import RosterKeeper
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore
from tests.fakes.sync_house import entry, facts


class Source:
    """A file that the test sets; answers "not modified" to its own tag."""

    place = "/srv/quay/roster.csv"

    def __init__(self) -> None:
        self.content = b"1 2 3"
        self.error: GatepostError | None = None
        self.always_unmodified = False
        self.tags: list[str | None] = []

    async def fetch(self, tag: str | None) -> Fetched | NotModified:
        self.tags.append(tag)
        if self.error is not None:
            raise self.error.with_traceback(None)
        new = self.content.decode()
        return NotModified() if tag == new or self.always_unmodified else Fetched(self.content, None, new)


class Reader:
    """Reads serials with blanks between; a word that is no number is a fault."""

    def check(self, roster: bytes, groups: bytes | None, receivers: Sequence[ReceiverFacts] | None) -> RosterCheck:
        words = roster.decode().split()
        faults = tuple(
            Fault("roster.csv", row, "serial", f"{word!r} is no serial", "Write ten digits.")
            for row, word in enumerate(words, 2)
            if not word.isdigit()
        )
        if faults:
            return RosterCheck(None, faults, ())
        entries = tuple(entry(int(word)) for word in words)
        return RosterCheck(Roster(entries, f"digest of {roster.decode()}"), (), ())


class Book:
    """`ports.RosterBook` that forgets."""

    async def note(self, roster: Roster, accepted: RosterAcceptance, *, now: bool) -> None:
        """Nothing is kept."""


class Bench:
    def __init__(self) -> None:
        self.clock = FakeClock()
        self.store = MemoryStore(self.clock)
        self.source = Source()
        self.desk = self.make()

    def make(self, **parts: Any) -> RosterKeeper:
        """`parts` take the place of the store's own."""
        kept: dict[str, Any] = {
            "archive": self.store.rosters,
            "ledger": self.store.ledger,
            "journal": self.store.journal,
        }
        return RosterKeeper(
            source=self.source, reader=Reader(), clock=self.clock, receivers=[facts()], **(kept | parts)
        )

    def events(self) -> list[EventName]:
        return [event.name for event in self.store.journal.all()]

    def serials(self) -> list[int]:
        in_force = self.desk.in_force
        return [row.serial for row in in_force.roster.entries] if in_force else []


async def test_accepted_kept_and_told_once() -> None:
    """Bytes kept, ledger named, one event; the next fetch asks with the tag and tells nothing."""
    bench = Bench()
    state = await bench.desk.fetch()
    assert bench.serials() == [1, 2, 3]
    assert state.problem == ""
    assert state.last_good == bench.clock.now()
    accepted = bench.store.ledger.accepted
    assert accepted is not None
    assert bench.store.rosters.kept[accepted.digest].roster == b"1 2 3"
    await bench.clock.advance(60)
    state = await bench.desk.fetch()
    assert bench.source.tags == [None, "1 2 3"]
    assert state.last_good == bench.clock.now()
    assert bench.events() == [EventName.ROSTER_FETCHED]


async def test_a_faulty_file_changes_nothing_and_says_where() -> None:
    """All faults in the state; told once, and once more when it is right again."""
    bench = Bench()
    await bench.desk.fetch()
    bench.source.content = b"1 two 3 four"
    for _ in range(3):
        state = await bench.desk.fetch()
    assert [(fault.row, fault.found) for fault in state.faults] == [
        (3, "'two' is no serial"),
        (5, "'four' is no serial"),
    ]
    assert "2 faults" in state.problem
    assert state.problem.endswith("'two' is no serial; Write ten digits.")
    assert "roster check" in state.remedy
    assert not state.unreachable
    assert bench.serials() == [1, 2, 3]
    bench.source.content = b"1 2 3"
    state = await bench.desk.fetch()
    assert (state.problem, state.faults) == ("", ())
    assert bench.events() == [EventName.ROSTER_FETCHED, EventName.ROSTER_REFUSED, EventName.ROSTER_FETCHED]


async def test_an_unreachable_source_changes_nothing_and_is_told_once() -> None:
    """A hundred failed tries are one event; the return is told, by the unchanged file too."""
    bench = Bench()
    await bench.desk.fetch()
    good = bench.clock.now()
    bench.source.error = SourceUnreachable("The roster can't be fetched.", remedy="Check the network.")
    for _ in range(100):
        await bench.clock.advance(60)
        state = await bench.desk.fetch()
    assert (state.problem, state.remedy) == ("The roster can't be fetched.", "Check the network.")
    assert (bench.serials(), state.last_good) == ([1, 2, 3], good)
    bench.source.error = None
    assert (await bench.desk.fetch()).problem == ""
    assert bench.events() == [EventName.ROSTER_FETCHED, EventName.ROSTER_UNREACHABLE, EventName.ROSTER_FETCHED]


async def test_a_refused_source_is_told_as_refused() -> None:
    """Too large, wrong type, redirected: a file came, or would have, and isn't acceptable."""
    bench = Bench()
    bench.source.error = SourceRefused("The roster is larger than 10 MiB.", remedy="Check the address.")
    state = await bench.desk.fetch()
    assert state.problem == "The roster is larger than 10 MiB."
    assert bench.events() == [EventName.ROSTER_REFUSED]
    assert bench.desk.in_force is None


async def test_unreachable_does_not_hide_that_the_last_file_was_faulty() -> None:
    """The way is shown while it is broken, the file's faults when it works again and nothing changed."""
    bench = Bench()
    bench.source.content = b"x"
    await bench.desk.fetch()
    bench.source.error = SourceUnreachable("gone")
    assert (await bench.desk.fetch()).problem == "gone"
    bench.source.error = None
    assert "1 fault;" in (await bench.desk.fetch()).problem


async def test_an_empty_file_is_refused() -> None:
    """A truncated or emptied file never empties a receiver."""
    bench = Bench()
    await bench.desk.fetch()
    bench.source.content = b""
    state = await bench.desk.fetch()
    assert "no transmitters" in state.problem
    assert bench.serials() == [1, 2, 3]


async def test_unmodified_without_ever_a_file_is_refused() -> None:
    """304 to a request that named no version: said, not believed."""
    bench = Bench()
    bench.source.always_unmodified = True
    state = await bench.desk.fetch()
    assert "none has ever come" in state.problem
    assert bench.events() == [EventName.ROSTER_REFUSED]


async def test_a_restart_has_the_roster_without_its_source() -> None:
    """From the kept bytes; the tag is asked with again, and nothing is told anew."""
    bench = Bench()
    await bench.desk.fetch()
    bench.source.error = SourceUnreachable("gone")
    bench.desk = bench.make()
    assert bench.desk.in_force is None
    await bench.desk.load()
    assert bench.serials() == [1, 2, 3]
    bench.source.error = None
    await bench.desk.fetch()
    assert bench.source.tags[-1] == "1 2 3"
    assert bench.events() == [EventName.ROSTER_FETCHED]


async def test_kept_bytes_that_are_lost_or_altered_are_not_put_in_force() -> None:
    """Said, and healed by the next good fetch without a new acceptance."""
    bench = Bench()
    await bench.desk.fetch()
    accepted = bench.store.ledger.accepted
    assert accepted is not None
    for kept in ({}, {accepted.digest: Fetched(b"1 2", None, "t")}):
        bench.store.rosters.kept = kept
        bench.desk = bench.make()
        state = await bench.desk.load()
        assert (bench.desk.in_force, "archive" in state.problem) == (None, True)
    await bench.clock.advance(60)
    await bench.desk.fetch()
    assert bench.serials() == [1, 2, 3]
    assert bench.store.ledger.accepted == accepted
    assert bench.store.rosters.kept[accepted.digest].roster == b"1 2 3"


async def test_what_cannot_be_kept_is_not_in_force() -> None:
    """A full disk: the state says so, the old roster stays, and the next fetch takes the new one."""
    bench = Bench()
    await bench.desk.fetch()
    bench.source.content = b"1 2 3 4"
    bench.store.ledger.full = True
    for _ in range(2):
        state = await bench.desk.fetch()
        assert ("can't be kept" in state.problem, state.remedy) == (True, "Free some disk space.")
    assert bench.serials() == [1, 2, 3]
    bench.store.ledger.full = False
    await bench.desk.fetch()
    assert bench.serials() == [1, 2, 3, 4]
    assert bench.events() == [EventName.ROSTER_FETCHED] * 2


async def test_an_event_that_could_not_be_journaled_is_told_later() -> None:
    """The roster is in force all the while."""
    bench = Bench()
    bench.store.journal.full = True
    await bench.desk.fetch()
    assert bench.serials() == [1, 2, 3]
    bench.store.journal.full = False
    await bench.desk.fetch()
    assert bench.events() == [EventName.ROSTER_FETCHED]


async def test_the_roster_before_is_known_until_a_restart() -> None:
    """For telling endings that were foreseen from those that a new file brings."""
    bench = Bench()
    await bench.desk.fetch()
    bench.source.content = b"1 2"
    await bench.desk.fetch()
    in_force = bench.desk.in_force
    assert in_force is not None
    assert in_force.earlier is not None
    assert in_force.earlier.digest == "digest of 1 2 3"


async def test_missed_runs_are_told_with_the_fetch() -> None:
    """Even when nothing changed at the source."""
    bench = Bench()
    await bench.desk.fetch()
    due = datetime(2026, 3, 2, 1, 30, tzinfo=UTC)
    await bench.desk.fetch(due=Due(due, missed=3))
    event = bench.store.journal.all()[-1]
    assert (event.name, event.data["missed"], event.data["due"]) == (EventName.ROSTER_FETCHED, 3, due.isoformat())


class Slow:
    """Stands before one part of the store: others have many turns before and after each thing it does."""

    def __init__(self, part: object) -> None:
        self._part = part

    def __getattr__(self, name: str) -> Any:
        found = getattr(self._part, name)
        if not inspect.iscoroutinefunction(found):
            return found

        async def call(*arguments: Any, **named: Any) -> Any:
            await _turns()
            result = await found(*arguments, **named)
            await _turns()
            return result

        return call


async def _turns() -> None:
    for _ in range(50):
        await asyncio.sleep(0)


@pytest.mark.parametrize("part", ["archive", "ledger", "journal", "book"])
async def test_whoever_acts_on_the_event_finds_that_roster_in_force(part: str) -> None:
    """However slow what is kept on the way: the roster is in force before anybody is told of it."""
    bench = Bench()
    store = {"archive": bench.store.rosters, "ledger": bench.store.ledger, "journal": bench.store.journal}
    bench.desk = bench.make(**{part: Slow(store.get(part, Book()))})
    found: list[tuple[object, str]] = []

    async def act() -> None:
        async for event in follow(bench.store.journal, EventFilter(names=frozenset({EventName.ROSTER_FETCHED}))):
            in_force = bench.desk.in_force
            assert in_force is not None
            assert in_force.accepted is not None
            assert in_force.accepted.digest == in_force.roster.digest
            found.append((event.data["digest"], in_force.roster.digest))

    async with asyncio.TaskGroup() as group:
        acting = group.create_task(act())
        for content in (b"1 2 3", b"1 2 3 4"):
            bench.source.content = content
            await bench.desk.fetch()
            await _turns()
        acting.cancel()
    assert found == [("digest of 1 2 3",) * 2, ("digest of 1 2 3 4",) * 2]
