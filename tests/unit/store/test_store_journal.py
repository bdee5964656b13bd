"""The journal: all of a commit or nothing, numbers without gaps, readers woken after it is durable."""

from __future__ import annotations

import asyncio
import dataclasses
from collections.abc import Awaitable, Callable
from datetime import timedelta
from pathlib import Path

import pytest

from gateway.domain.events import EventDraft, EventId, EventName, Span
from gateway.domain.receiver import RingPlace
from gateway.errors import StoreDamaged, StoreUnavailable
from gateway.ports import Commit, EventFilter
from gateway.store.opening import Store
from tests.fakes.clock import FakeClock
from tests.fakes.store_samples import MORNING, FixedTrust, a_mirror, a_plan, a_revocation, both_lives

Opener = Callable[[], Awaitable[Store]]


def heard(receiver: str = "slip-gate", serial: str = "0048231907") -> EventDraft:
    return EventDraft(EventName.TRANSMITTER_HEARD, receiver, {"serial": serial, "position": 1})


def lost(receiver: str = "slip-gate") -> EventDraft:
    return EventDraft(EventName.LINK_LOST, receiver)


async def add(store: Store, *drafts: EventDraft) -> None:
    await store.journal.commit(Commit(events=drafts))


async def test_an_event_says_when_it_was_written_and_how_sure_that_is(
    store: Store, clock: FakeClock, trust: FixedTrust
) -> None:
    """Wall time and its trust, monotonic time and the boot are those of the moment of the commit."""
    trust.trusted = False
    await clock.advance(60)
    (event,) = await store.journal.commit(Commit(events=(heard(),)))
    assert event.time == MORNING + timedelta(seconds=1060 - 1000)
    assert (event.clock_trusted, event.boot_id, event.monotonic_s) == (False, "boot-1", 1060.0)
    assert (event.id.number, event.id) == (1, store.journal.newest)


async def test_what_commit_returns_is_what_is_read_even_after_a_restart(store: Store, reopen: Opener) -> None:
    """Data comes back as plain JSON, a late event with its span, in the same epoch."""
    late = Span(MORNING - timedelta(hours=2), MORNING)
    draft = EventDraft(EventName.INPUT_CHANGED, "car-park", {"input": 2, "tuple": (1, 2), "name": "Å"}, late)
    told = await store.journal.commit(Commit(events=(draft, heard())))
    assert told[0].data == {"input": 2, "tuple": [1, 2], "name": "Å"}
    assert told[0].late == late
    assert await store.journal.read(0) == told
    store = await reopen()
    assert await store.journal.read(0) == told
    assert store.journal.newest == told[-1].id


async def test_numbers_have_no_gaps_across_failures_and_restarts(store: Store, reopen: Opener) -> None:
    """A commit that failed takes no number."""
    await add(store, heard(), heard())
    with pytest.raises((TypeError, ValueError)):
        await add(store, EventDraft(EventName.LINK_LOST, data={"x": float("nan")}))
    await add(store, heard())
    store = await reopen()
    await add(store, lost())
    assert [event.id.number for event in await store.journal.read(0)] == [1, 2, 3, 4]


async def test_a_commit_is_whole(store: Store, reopen: Opener) -> None:
    """Events, cursors, mirror, plans, proofs and runs of one commit stand together after a restart."""
    revocation = a_revocation()
    await store.ledger.revoke(revocation, {})
    await store.journal.commit(
        Commit(
            events=(heard(),),
            cursors={"slip-gate": RingPlace(3, 77)},
            mirror=a_mirror(),
            plans=(a_plan(),),
            proven=((revocation.serial, "slip-gate"),),
            runs={"nightly": MORNING},
        )
    )
    async for opened in both_lives(store, reopen):
        assert opened.mirrors.load("slip-gate") == dataclasses.replace(a_mirror(), cursor=RingPlace(3, 77))
        assert await opened.plans.unfinished() == (a_plan(),)
        assert opened.proofs.proven(revocation.serial) == {"slip-gate"}
        assert opened.runs.last("nightly") == MORNING
        assert opened.journal.newest.number == 1


async def test_a_failed_commit_changes_nothing_anywhere(
    store: Store, reopen: Opener, monkeypatch: pytest.MonkeyPatch
) -> None:
    """When a late part of a commit fails, its early parts are gone too: from memory and from disk."""

    def fail(*_: object) -> None:
        raise ValueError("on purpose")

    with monkeypatch.context() as broken:
        broken.setattr("gateway.store.journal.write_plan", fail)
        with pytest.raises(ValueError, match="on purpose"):
            await store.journal.commit(
                Commit((heard(),), {"slip-gate": RingPlace(1, 1)}, a_mirror(), (a_plan(),), runs={"nightly": MORNING})
            )
    async for opened in both_lives(store, reopen):
        assert opened.journal.newest.number == 0
        assert await opened.journal.read(0) == ()
        assert opened.mirrors.load("slip-gate") is None
        assert opened.runs.last("nightly") is None


async def test_a_full_disk_is_told_from_memory_and_ends_by_itself(store: Store) -> None:
    """`problem` says why nothing can be written, nobody is woken, and the next commit that fits ends it."""
    waiting = asyncio.ensure_future(store.journal.wait_newer(0))
    big = EventDraft(EventName.LINK_LOST, data={"ballast": "x" * 100_000})
    await store._database.write(
        lambda db: db.execute(f"pragma max_page_count = {db.execute('pragma page_count').fetchone()[0]}")
    )
    with pytest.raises(StoreUnavailable):
        await add(store, big)
    assert "full" in store.journal.problem
    assert store.journal.newest.number == 0
    assert not waiting.done()
    await add(store, big)
    assert store.journal.problem == ""
    await waiting


async def test_reading_by_pages_both_ways(store: Store) -> None:
    """Forward from a number on, backward from the end or below a number; limits hold."""
    await add(store, *[heard() for _ in range(10)])

    async def page(after: int, limit: int, newest_first: bool) -> list[int]:
        found = await store.journal.read(after, limit=limit, newest_first=newest_first)
        return [event.id.number for event in found]

    assert await page(0, 3, False) == [1, 2, 3]
    assert await page(8, 3, False) == [9, 10]
    assert await page(10, 3, False) == []
    assert await page(0, 3, True) == [10, 9, 8]
    assert await page(8, 3, True) == [7, 6, 5]
    assert await page(1, 3, True) == []
    assert await page(0, 0, False) == []
    assert await page(2**70, 3, False) == []


async def test_reading_what_is_wanted(store: Store) -> None:
    """Names and receivers narrow, together too, and the page is full as long as there is enough."""
    await add(store, *[draft for _ in range(4) for draft in (heard(), lost("car-park"), heard("car-park"), lost())])
    names = frozenset({EventName.LINK_LOST, EventName.GATEWAY_STARTED})

    async def numbers(wanted: EventFilter, after: int = 0, newest_first: bool = False) -> list[int]:
        found = await store.journal.read(after, limit=3, wanted=wanted, newest_first=newest_first)
        return [event.id.number for event in found]

    assert await numbers(EventFilter(names=names)) == [2, 4, 6]
    assert await numbers(EventFilter(names=names), 6) == [8, 10, 12]
    assert await numbers(EventFilter(receivers=frozenset({"car-park"})), newest_first=True) == [15, 14, 11]
    assert await numbers(EventFilter(names, frozenset({"car-park"}))) == [2, 6, 10]
    assert await numbers(EventFilter(names, frozenset({"shutter"}))) == []
    many = frozenset(f"receiver-{n}" for n in range(300)) | {"car-park"}
    assert await numbers(EventFilter(receivers=many), 3) == [6, 7, 10]


async def test_fifty_readers_wait_and_all_are_woken_once_it_is_durable(store: Store) -> None:
    """Each waiter returns when a number above its own exists, and reads it at once; no other returns."""
    woken: list[int] = []

    async def follow(number: int) -> None:
        await store.journal.wait_newer(number)
        assert len(await store.journal.read(number)) >= 1
        woken.append(number)

    async with asyncio.TaskGroup() as readers:
        for number in [0] * 50 + [1] * 50:
            readers.create_task(follow(number))
        await asyncio.sleep(0)
        await add(store, heard())
        while len(woken) < 50:
            await store.journal.read(0)
        assert woken == [0] * 50
        await add(store, heard())
    assert sorted(woken) == [0] * 50 + [1] * 50


async def test_waiting_for_what_is_already_there_returns_at_once(store: Store) -> None:
    """A reader that is behind does not wait for the next event."""
    await add(store, heard())
    await store.journal.wait_newer(0)


async def test_two_hundred_commits_at_once_are_numbered_in_the_order_they_were_asked_for(store: Store) -> None:
    """One writer: nothing mixes, nothing doubles."""
    told = await asyncio.gather(
        *(store.journal.commit(Commit(events=(heard(serial=str(n)), lost()))) for n in range(200))
    )
    numbers = [event.id.number for events in told for event in events]
    assert numbers == list(range(1, 401))
    read = await store.journal.read(0, limit=500)
    assert [event.data.get("serial") for event in read[::2]] == [str(n) for n in range(200)]


async def test_a_commit_without_events_wakes_nobody(store: Store) -> None:
    """A cursor alone moves without a number."""
    waiting = asyncio.ensure_future(store.journal.wait_newer(0))
    assert await store.journal.commit(Commit(cursors={"slip-gate": RingPlace(1, 5)})) == ()
    assert not waiting.done()
    waiting.cancel()


async def test_forgetting_presses_by_age_never_gives_a_number_twice(
    store: Store, clock: FakeClock, reopen: Opener
) -> None:
    """Old presses go, other events and young presses stay; after all are gone the next number still goes on."""
    await add(store, heard(), lost())
    await clock.advance(3600)
    await add(store, heard(), heard())
    assert await store.journal.forget_heard(MORNING + timedelta(minutes=5)) == 1
    assert [event.id.number for event in await store.journal.read(0)] == [2, 3, 4]
    assert store.journal.oldest_number == 2
    assert await store.journal.forget_heard(MORNING + timedelta(days=1)) == 2
    store = await reopen()
    assert (store.journal.newest.number, store.journal.oldest_number) == (4, 2)
    await add(store, lost())
    assert store.journal.newest.number == 5


async def test_what_is_forgotten_stands_in_no_file(store: Store, folder: Path) -> None:
    """After retention the serial is in no byte of database or log."""
    await add(store, heard(serial="0099887766"), lost())
    assert holding(folder, b"0099887766")
    await store.journal.forget_heard(MORNING + timedelta(days=1))
    assert holding(folder, b"0099887766") == []


async def test_a_damaged_row_is_told_as_damage(store: Store) -> None:
    """A row of a name that never was is not skipped in silence."""
    await add(store, heard(), lost())
    await store._database.write(lambda db: db.execute("update events set name = 'link.lots' where number = 2"))
    with pytest.raises(StoreDamaged, match=r"link\.lots"):
        await store.journal.read(0)
    assert len(await store.journal.read(0, limit=1)) == 1


async def test_an_id_reads_as_it_is_written(store: Store) -> None:
    """An epoch of ours fits `<epoch>-<number>`."""
    await add(store, heard())
    assert EventId.parse(str(store.journal.newest)) == store.journal.newest


async def test_a_page_of_a_large_journal_is_searched_and_not_scanned(store: Store) -> None:
    """SQLite's own plan for each way of reading names an index or the row number, never a scan of all events."""
    from gateway.store import eventrows  # noqa: PLC0415 - the statement under test is private

    one, two = frozenset({EventName.LINK_LOST}), frozenset({EventName.LINK_LOST, EventName.CLOCK_TRUSTED})
    receivers = frozenset({"slip-gate"})
    for wanted in (EventFilter(), EventFilter(one), EventFilter(two, receivers), EventFilter(receivers=receivers)):
        for order, compare in (("asc", ">"), ("desc", "<")):
            condition, values = eventrows._condition(wanted, f"number {compare} ?", 5, order, 100)
            sql = f"explain query plan {eventrows._COLUMNS} where {condition} order by events.number {order} limit 9"
            steps = await store._database.read(lambda db, sql=sql, values=values: db.execute(sql, values).fetchall())  # type: ignore[misc]
            scans = [step[3] for step in steps if step[3].startswith("SCAN events")]
            assert scans == [], (wanted, order)


def holding(folder: Path, content: bytes) -> list[str]:
    return [file.name for file in folder.rglob("*") if file.is_file() and content in file.read_bytes()]


async def test_the_journal_is_bounded(reopen: Opener) -> None:
    """Beyond a number of events the oldest go, a newer number is never given twice, and a restart knows the rest."""
    store = await reopen()
    for _ in range(9):
        await store.journal.commit(Commit(events=(EventDraft(EventName.LINK_LOST, "slip-gate"),)))
    assert await store.journal.forget_beyond(20) == 0
    assert await store.journal.forget_beyond(4) == 5
    assert (store.journal.oldest_number, store.journal.newest.number) == (6, 9)
    store = await reopen()
    assert [event.id.number for event in await store.journal.read(0)] == [6, 7, 8, 9]
    assert await store.journal.forget_beyond(0) == 4
    (event,) = await store.journal.commit(Commit(events=(EventDraft(EventName.LINK_LOST, "slip-gate"),)))
    assert event.id.number == 10
