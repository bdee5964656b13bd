"""The signed revocation list: followed to every receiver, never undone by an older or a faulty one."""

from __future__ import annotations

import asyncio
from datetime import timedelta

from gateway.domain.events import EventName
from gateway.domain.revocation import RevocationState
from gateway.domain.roster import Fault
from gateway.errors import GatepostError, SourceRefused, SourceUnreachable
from gateway.ports import FetchedRevocations, ListedRevocation, NotModified, RosterAcceptance
from gateway.sync.revocation_list import ASKED_BY, RevocationList
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryLedger, MemoryStore
from tests.fakes.sync_house import SyncHouse, entry, quay_receiver, roster, run_in

FAULT = Fault("revocations", 3, "", "the line", "write a serial")


class Ledger(MemoryLedger):
    """`ports.ListLedger` too."""

    accepted_list: RosterAcceptance | None = None

    async def accept_list(self, acceptance: RosterAcceptance) -> None:
        self._refuse_when_full()
        self.accepted_list = acceptance


class Source:
    """A list that the test sets; the same one again is not modified."""

    place = "https://quay.example/revocations"

    def __init__(self) -> None:
        self.revision = 0
        self.entries: tuple[ListedRevocation, ...] = ()
        self.faults: tuple[Fault, ...] = ()
        self.error: GatepostError | None = None
        self.asked_at: list[float] = []
        self.clock: FakeClock | None = None

    def put(self, revision: int, *lines: str, faults: tuple[Fault, ...] = ()) -> None:
        self.revision, self.faults = revision, faults
        self.entries = tuple(
            ListedRevocation(int(line.removeprefix("lift ")), "why", line.startswith("lift ")) for line in lines
        )

    async def fetch(self, tag: str | None) -> FetchedRevocations | NotModified:
        if self.clock is not None:
            self.asked_at.append(self.clock.monotonic())
        if self.error is not None:
            raise self.error.with_traceback(None)
        new = f"{self.revision} {self.entries} {self.faults}"
        if tag == new:
            return NotModified()
        return FetchedRevocations(self.entries, self.faults, self.revision, new, new)


class Bench:
    def __init__(self) -> None:
        self.clock = FakeClock()
        store = MemoryStore(self.clock)
        self.ledger = store.ledger = Ledger()
        self.house = SyncHouse([quay_receiver(clock=self.clock)], clock=self.clock, store=store)
        self.source = Source()
        self.list = self.make()

    def make(self) -> RevocationList:
        return RevocationList(
            source=self.source,
            revocations=self.house.revoker,
            ledger=self.ledger,
            journal=self.house.store.journal,
            clock=self.clock,
            seed="fennel-quay",
        )

    def revoked(self) -> set[int]:
        return set(self.ledger.revocations())

    def told(self) -> list[tuple[str, object]]:
        events = self.house.store.journal.all()
        return [(event.name, event.data["revision"]) for event in events if "list" in event.data]


async def test_from_the_list_to_the_receiver() -> None:
    """One line revokes like any other revocation: ledger, memory, proof."""
    bench = Bench()
    bench.house.rosters.put(roster(*(entry(serial) for serial in (1, 2, 3))))
    async with run_in(bench.house):
        await bench.house.runner.apply_all()
        bench.source.put(1, "2")
        state = await bench.list.look()
        await bench.clock.advance(5)
        assert (state.problem, state.revision) == ("", 1)
        assert set(bench.house.held()) == {1, 3}
        (revocation,) = bench.house.revoker.all()
        assert (revocation.asked_by, revocation.reason) == (ASKED_BY, "why")
        assert revocation.states == {"slip-gate": RevocationState.PROVEN}


async def test_a_line_that_vanishes_lifts_nothing() -> None:
    """Only `lift` does, and the same list again changes nothing more."""
    bench = Bench()
    for revision, lines in ((1, ["1", "2"]), (2, ["2"]), (3, []), (4, ["lift 1"])):
        bench.source.put(revision, *lines)
        await bench.list.look()
        await bench.list.look()
        assert bench.revoked() == ({2} if revision == 4 else {1, 2})
    assert bench.ledger.lifted == [(1, ASKED_BY, "why")]


async def test_what_was_revoked_here_is_lifted_here() -> None:
    """The list takes back only what it asked for."""
    bench = Bench()
    await bench.house.revoker.revoke(1, asked_by="harbour office", reason="lost")
    bench.source.put(1, "lift 1", "lift 9")
    assert (await bench.list.look()).problem == ""
    assert bench.revoked() == {1}


async def test_a_serial_that_is_still_listed_comes_back() -> None:
    """Lifted here, it is revoked again at the next look, although the list has not changed."""
    bench = Bench()
    bench.source.put(1, "1")
    await bench.list.look()
    await bench.house.revoker.lift(1, asked_by="somebody", reason="found")
    await bench.list.look()
    assert bench.revoked() == {1}


async def test_older_lists_are_refused_also_after_a_restart() -> None:
    """An old `lift` that comes back could give a lost transmitter its rights again."""
    bench = Bench()
    bench.source.put(3, "1", "lift 2")
    await bench.list.look()
    bench.source.put(5, "1", "2")
    await bench.list.look()
    for keeper in (bench.list, bench.make()):
        bench.source.put(3, "1", "lift 2")
        assert "an older one" in (await keeper.look()).problem
        bench.source.put(5, "lift 1", "lift 2")
        assert "another list had before" in (await keeper.look()).problem
        assert bench.revoked() == {1, 2}
    bench.source.put(5, "1", "2")
    assert (await bench.list.look()).problem == ""


async def test_a_faulty_list_revokes_and_lifts_nothing() -> None:
    """The safe half is done, the rest waits for the mended list, which may keep its revision."""
    bench = Bench()
    bench.source.put(1, "1")
    await bench.list.look()
    bench.source.put(2, "2", "lift 1", faults=(FAULT,))
    state = await bench.list.look()
    assert bench.revoked() == {1, 2}
    assert "line 3" in state.problem
    assert (state.faults, state.revision) == ((FAULT,), 1)
    bench.source.put(2, "2", "lift 1")
    assert (await bench.list.look()).revision == 2
    assert bench.revoked() == {2}


async def test_no_source_no_change() -> None:
    """Unreachable, unsigned or absent: what is revoked stays, and it is told once."""
    bench = Bench()
    bench.source.put(1, "1")
    await bench.list.look()
    await bench.list.look()
    for error in (SourceUnreachable("away", remedy="wait"), SourceRefused("unsigned", remedy="sign")):
        bench.source.error = error
        for _ in range(3):
            state = await bench.list.look()
            assert (state.problem, state.remedy) == (error.message, error.remedy)
    bench.source.error = None
    assert (await bench.list.look()).problem == ""
    assert bench.revoked() == {1}
    assert bench.told() == [
        (EventName.ROSTER_FETCHED, 1), (EventName.ROSTER_UNREACHABLE, 1), (EventName.ROSTER_REFUSED, 1),
        (EventName.ROSTER_FETCHED, 1),
    ]  # fmt: skip


async def test_a_full_disk_is_made_up_for() -> None:
    """What can't be kept is tried again at the next look."""
    bench = Bench()
    bench.source.put(1, "1")
    bench.ledger.full = True
    assert "can't be followed" in (await bench.list.look()).problem
    bench.ledger.full = False
    assert (await bench.list.look()).problem == ""
    assert bench.revoked() == {1}


async def test_looks_are_spread() -> None:
    """Of 500 gateways that start in the same second none asks in a second with more than 5 % of them, round by round;
    each asks about once a minute."""
    clock, asked = FakeClock(), []
    house = SyncHouse([], clock=clock)
    async with asyncio.TaskGroup() as group:
        tasks = []
        for number in range(500):
            source = Source()
            source.clock, source.asked_at = clock, []
            source.error = SourceUnreachable("away")
            watched = RevocationList(
                source=source, revocations=house.revoker, ledger=Ledger(), journal=house.store.journal, clock=clock,
                seed=f"site-{number}",
            )  # fmt: skip
            asked.append(source.asked_at)
            tasks.append(group.create_task(watched.run()))
        await clock.advance(timedelta(minutes=5).total_seconds())
        for task in tasks:
            task.cancel()
    seconds: dict[int, int] = {}
    for times in asked:
        assert 4 <= len(times) <= 6
        for at in times:
            seconds[int(at)] = seconds.get(int(at), 0) + 1
    assert max(seconds.values()) <= 25
