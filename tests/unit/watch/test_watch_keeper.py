"""The mirror: read as little as proves it, told what changed, and never taken from a stranger."""

from __future__ import annotations

import asyncio
from collections import Counter

import pytest

from gateway.domain.events import Event, EventName
from gateway.domain.live import Reading
from gateway.domain.receiver import Capability, Origin, Slot
from gateway.domain.urgency import Urgency
from gateway.errors import NotFound, NotProven, StoreUnavailable
from gateway.ports import Commit
from gateway.watch import Watch
from tests.fakes.quay import Quay
from tests.fakes.receiver import some_limits, some_slot

SLOTS_TOLD = (EventName.SLOT_CHANGED, EventName.DRIFT_FOUND)


async def refresh(quay: Quay, watch: Watch) -> Counter[str]:
    """Refresh once; the frames that it cost by method, polls and ring left out."""
    before = Counter(quay.receiver.frames_of)
    await quay.clock.run(watch.keeper.refresh("slip-gate"))
    spent = quay.receiver.frames_of - before
    return Counter({method: n for method, n in spent.items() if method not in ("read_status", "read_ring")})


async def test_a_first_contact_reads_all_and_a_second_start_a_handful() -> None:
    """An unchanged receiver costs identity, status, settings and block sums at a restart, and no slot."""
    quay = Quay.filled()
    async with quay.watching(5):
        assert quay.mirror.slots == quay.receiver.board.slots
        assert quay.receiver.frames_of["read_slots"] == 128 / 8
    board, before, commits = quay.receiver, Counter(quay.receiver.frames_of), len(quay.store.journal.commits)
    async with quay.watching(0.15):
        spent = board.frames_of - before
        assert spent["read_slots"] == 0
        assert spent.total() <= 8
        assert quay.watch.keeper.is_proven("slip-gate")
        assert len(quay.store.journal.commits) == commits


async def test_a_changed_block_costs_that_block() -> None:
    """One slot learned at the board: its block's four frames are read, and no other."""
    quay = Quay.filled(40)
    async with quay.watching(5) as watch:
        quay.receiver.board.learn(7, 2, 1)
        assert await refresh(quay, watch) == {
            "identify": 1,
            "read_settings": 1,
            "read_block_crcs": 2,
            "read_slots": 32 / 8,
        }
        assert await refresh(quay, watch) == {"identify": 1, "read_block_crcs": 1}
        assert quay.mirror.slots == quay.receiver.board.slots


async def test_an_on_time_taught_at_the_board_is_told_with_before_and_after() -> None:
    """Settings are read when the revision moved, and the change says who made it."""
    quay = Quay.filled(1)
    async with quay.watching(5):
        quay.receiver.board.change_on_time(2, 17)
        await quay.clock.advance(3)
    ((_, data),) = quay.told(EventName.SETTINGS_CHANGED)
    assert data["before"]["on_times_s"] == [5, 5]
    assert data["after"]["on_times_s"] == [5, 17]
    assert data["origin"] == "board"


async def test_a_setting_changed_within_the_revisions_of_our_own_write_is_still_found() -> None:
    """A recorded write may hide a setting taught meanwhile; the next refresh reads the settings again."""
    quay = Quay.filled(1)
    async with quay.watching(5):
        await quay.clock.run(quay.receiver.write_slots([some_slot(2, 7)], [], quay.receiver.board.revision))
        quay.receiver.board.change_on_time(1, 60)
        await quay.record({2: some_slot(2, 7)})
        await quay.clock.advance(5)
    ((_, data),) = quay.told(EventName.SETTINGS_CHANGED)
    assert data["after"]["on_times_s"] == [60, 5]


async def test_a_record_that_something_else_overtook_is_refreshed() -> None:
    """The sums given with a record show another change: the mirror stays at its revision and is read again."""
    quay = Quay.filled(1)
    async with quay.watching(5):
        await quay.clock.run(quay.receiver.write_slots([some_slot(2, 7)], [], quay.receiver.board.revision))
        quay.receiver.board.put(100, some_slot(100, 8), Origin.BOARD)
        mirror = await quay.record({2: some_slot(2, 7)})
        assert mirror.revision < quay.receiver.board.revision
        await quay.clock.advance(5)
        assert quay.mirror.slots == quay.receiver.board.slots
    ((_, drift),) = quay.told(EventName.DRIFT_FOUND)
    assert [slot["slot"] for slot in drift["slots"]] == [100]


async def test_a_change_in_the_middle_of_reading_is_read_again() -> None:
    """The revision moves between two blocks: sums are asked for again until all of it is true at one revision."""
    quay = Quay.filled(100)
    board = quay.receiver.board
    async with quay.watching(0) as watch:
        reading = asyncio.ensure_future(watch.keeper.refresh("slip-gate"))
        await quay.clock.advance(0.13)
        assert 0 < quay.receiver.frames_of["read_slots"] < 16
        board.learn(1001, 3, 2)
        mirror = await quay.clock.run(reading)
        assert mirror.slots == board.slots
        assert mirror.revision == board.revision


async def test_a_setting_that_moves_while_it_is_read_is_read_again() -> None:
    """The revision rose between settings and sums: the settings kept are those of the revision kept."""
    quay = Quay.filled(3)
    await quay.clock.run(quay.watch.keeper.refresh("slip-gate"))
    quay.receiver.board.change_on_time(1, 10)
    refreshing = asyncio.ensure_future(quay.watch.keeper.refresh("slip-gate"))
    while quay.receiver.frames_of["read_settings"] < 2 or quay.receiver.frames_of["read_block_crcs"] < 3:
        await quay.clock.advance(0.001)
    quay.receiver.board.change_on_time(1, 20)
    mirror = await quay.clock.run(refreshing)
    assert mirror.settings is not None
    assert mirror.settings.on_times_s == (20, 5)
    assert mirror.revision == quay.receiver.board.revision


async def test_a_record_older_than_the_mirror_changes_nothing() -> None:
    """The board changed the slot after our write, and a refresh has seen it: what the receiver holds stands."""
    quay = Quay.filled(1)
    async with quay.watching(5) as watch:
        ours = some_slot(2, 7)
        await quay.clock.run(quay.receiver.write_slots([ours], [], quay.receiver.board.revision))
        stated = await quay.clock.run(quay.receiver.read_block_crcs())
        quay.receiver.board.learn(7, 5, 2)
        await quay.clock.run(watch.keeper.refresh("slip-gate"))
        mirror = await quay.clock.run(watch.keeper.record("slip-gate", {2: ours}, stated.revision, stated.crcs))
        assert mirror.slots == quay.receiver.board.slots
        assert quay.mirror.slots == quay.receiver.board.slots


async def test_looks_at_the_same_time_tell_once() -> None:
    """Poller and refreshes look at one receiver together: its press is told once."""
    quay = Quay.filled(1)
    async with quay.watching(5) as watch:
        quay.receiver.board.press(7)
        await quay.clock.advance(0.19)
        refreshing = asyncio.ensure_future(watch.keeper.refresh("slip-gate"))
        for serial in range(8, 28):
            quay.receiver.board.press(serial)
            await quay.clock.advance(0.007)
        await quay.clock.run(refreshing)
        await quay.clock.advance(1)
    heard = [data["serial"] for _, data in quay.told(EventName.TRANSMITTER_HEARD)]
    assert heard == [f"{serial:010d}" for serial in range(7, 28)]


async def test_a_cancelled_refresh_knows_whether_its_commit_became_durable() -> None:
    """Cancelled in the middle of the commit: it ends first, and nothing of it is told again."""
    quay = Quay.filled(3)
    journal, kept = quay.store.journal, quay.store.journal.commit

    async def slow_commit(commit: Commit) -> tuple[Event, ...]:
        events = await kept(commit)
        await quay.clock.sleep(0.1)
        return events

    async with quay.watching(5) as watch:
        quay.receiver.board.learn(7, 1, 1)
        quay.receiver.board.press(9)
        journal.commit = slow_commit  # type: ignore[method-assign]
        refreshing = asyncio.ensure_future(watch.keeper.refresh("slip-gate"))
        while not quay.told(EventName.TRANSMITTER_HEARD):
            await quay.clock.advance(0.001)
        refreshing.cancel()
        await quay.clock.advance(5)
        assert refreshing.cancelled()
    assert len(quay.told(EventName.TRANSMITTER_HEARD)) == 1
    assert [name for name, _ in quay.told(*SLOTS_TOLD)] == ["slot.changed", "drift.found"]


async def test_sums_that_never_agree_are_not_a_proof() -> None:
    """What is read disagrees with the stated sums again and again: refused, and the mirror stays as it was."""
    quay = Quay.filled(10)
    async with quay.watching(5) as watch:
        before = quay.mirror
        sum_of = quay.receiver.block_crc
        quay.receiver.board.learn(7, 1, 1)

        def wrong_sum(limits: object, block: int, slots: dict[int, Slot]) -> int:
            own = slots is quay.receiver.board.slots
            return sum_of(some_limits(), block, slots) ^ (0 if own else 1)

        quay.receiver.block_crc = wrong_sum  # type: ignore[method-assign,assignment]
        with pytest.raises(NotProven):
            await quay.clock.run(watch.keeper.refresh("slip-gate"))
        assert quay.mirror.slots == before.slots


async def test_refreshes_at_the_same_time_read_once_and_lend_their_urgency() -> None:
    """Three callers at once: one reads, the others compare; the reading goes on at the most urgent one's urgency."""
    quay = Quay.filled(100)
    receiver = quay.receiver
    async with quay.watching(0) as watch:
        bulk = asyncio.ensure_future(watch.keeper.refresh("slip-gate"))
        await quay.clock.advance(0.1)
        urgent = [
            asyncio.ensure_future(watch.keeper.refresh("slip-gate", urgency=Urgency.REVOCATION)) for _ in range(2)
        ]
        await quay.clock.advance(0.01)
        seen = len(receiver.urgencies)
        mirrors = await quay.clock.run(asyncio.gather(bulk, *urgent))
        assert receiver.frames_of["read_slots"] == 16
        assert Urgency.REVOCATION in receiver.urgencies[seen + 1 : seen + 4]
        assert {mirror.revision for mirror in mirrors} == {receiver.board.revision}
        receiver.board.learn(7, 1, 1)
        seen = len(receiver.urgencies)
        await quay.clock.run(watch.keeper.refresh("slip-gate"))
        assert Urgency.REVOCATION not in receiver.urgencies[seen:], "what was lent is given back"


async def test_progress_reaches_its_total() -> None:
    """A first read tells how far it is, from nothing to all slots of the blocks that are not empty."""
    quay = Quay.filled(100)
    seen: list[tuple[int, int]] = []
    await quay.clock.run(
        quay.watch.keeper.refresh("slip-gate", progress=lambda done, total, words: seen.append((done, total)))
    )
    assert seen[0] == (0, 128)
    assert seen[-1] == (128, 128)


async def test_empty_blocks_of_a_first_read_are_not_read() -> None:
    """A receiver that holds ten transmitters in its first block costs that block at the first contact, not four."""
    quay = Quay.filled(10)
    seen: list[tuple[int, int]] = []
    mirror = await quay.clock.run(
        quay.watch.keeper.refresh("slip-gate", progress=lambda done, total, words: seen.append((done, total)))
    )
    assert seen[-1] == (32, 32)
    assert len(mirror.slots) == 10
    assert mirror.limits.blocks == 4


async def test_a_refresh_that_cannot_be_kept_says_so() -> None:
    """The journal is full: the refresh fails, the old mirror stands, and the next one finds the same again."""
    quay = Quay.filled(2)
    async with quay.watching(5) as watch:
        quay.receiver.board.learn(7, 1, 1)
        quay.store.journal.full = True
        with pytest.raises(StoreUnavailable):
            await quay.clock.run(watch.keeper.refresh("slip-gate"))
        quay.store.journal.full = False
        await quay.clock.run(watch.keeper.refresh("slip-gate"))
    assert [name for name, _ in quay.told(*SLOTS_TOLD)] == ["slot.changed", "drift.found"]


async def test_a_receiver_without_slots_is_mirrored_by_its_settings() -> None:
    """No memory of transmitters: identity and settings are the mirror."""
    quay = Quay(
        limits=some_limits(slots=0),
        capabilities=frozenset({Capability.REVISION, Capability.EVENTS, Capability.SETTINGS}),
    )
    async with quay.watching(3):
        quay.receiver.board.change_on_time(1, 9)
        await quay.clock.advance(3)
        assert quay.mirror.settings is not None
        assert quay.mirror.settings.on_times_s == (9, 5)
    assert len(quay.told(EventName.SETTINGS_CHANGED)) == 1


async def test_an_unknown_receiver_is_not_found() -> None:
    """The keeper and the live view know the receivers of the settings alone."""
    quay = Quay()
    with pytest.raises(NotFound):
        await quay.watch.keeper.refresh("barn-door")
    with pytest.raises(NotFound):
        quay.watch.live.receiver("barn-door")


async def test_how_far_a_memory_is_read_is_seen_by_everybody() -> None:
    """Block by block while it lasts, and nothing of it afterwards."""
    quay = Quay.filled(100)
    seen: list[Reading | None] = []
    async with quay.watching(0) as watch:
        for _ in range(200):
            await quay.clock.advance(0.02)
            reading = watch.live.receiver("slip-gate").reading
            if not seen or seen[-1] != reading:
                seen.append(reading)
    assert [one for one in seen if one is not None] == [Reading(done, 128) for done in (0, 32, 64, 96, 128)]
    assert (seen[0], seen[-1]) == (None, None)


async def test_a_memory_that_was_cleared_is_proven_by_its_sums_alone() -> None:
    """A block that states the sum of an empty one is not read: a reset is proven at once, whatever the speed."""
    quay = Quay.filled(100)
    async with quay.watching(5) as watch:
        read = quay.receiver.frames_of["read_slots"]
        quay.receiver.board.reset(Origin.LINE)
        quay.receiver.board.put(40, some_slot(40, 55), Origin.LINE)
        mirror = await quay.clock.run(watch.keeper.refresh("slip-gate"))
        assert mirror.slots == {40: some_slot(40, 55)}
        assert quay.receiver.frames_of["read_slots"] == read + 32 / 8
