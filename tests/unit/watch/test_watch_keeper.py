"""The mirror: read as little as proves it, told what changed, and never taken from a stranger."""

from __future__ import annotations

import asyncio
from collections import Counter
from dataclasses import replace

import pytest

from gateway.domain.events import Event, EventName
from gateway.domain.live import LinkState
from gateway.domain.mirror import Mirror
from gateway.domain.plan import Change, ChangeKind, Plan, PlanState
from gateway.domain.receiver import Capability, Origin, Slot
from gateway.domain.urgency import Urgency
from gateway.errors import NotFound, NotProven, Refused, StoreUnavailable
from gateway.ports import Commit
from gateway.watch import Watch
from tests.fakes.quay import Quay
from tests.fakes.receiver import some_limits, some_slot

SLOTS_TOLD = (EventName.SLOT_CHANGED, EventName.DRIFT_FOUND)


def filled(count: int = 100) -> Quay:
    """A receiver of 128 slots in 4 blocks, so many of them in use."""
    quay = Quay()
    for number in range(1, count + 1):
        quay.receiver.board.put(number, some_slot(number, 1000 + number), Origin.LINE)
    return quay


async def refresh(quay: Quay, watch: Watch) -> Counter[str]:
    """Refresh once; the frames that it cost by method, polls and ring left out."""
    before = Counter(quay.receiver.frames_of)
    await quay.clock.run(watch.keeper.refresh("slip-gate"))
    spent = quay.receiver.frames_of - before
    return Counter({method: n for method, n in spent.items() if method not in ("read_status", "read_ring")})


async def record(quay: Quay, watch: Watch, slots: dict[int, Slot | None]) -> Mirror:
    """Record a write with the sums that the receiver states now."""
    stated = await quay.clock.run(quay.receiver.read_block_crcs())
    return await quay.clock.run(watch.keeper.record("slip-gate", slots, stated.revision, stated.crcs))


async def test_a_first_contact_reads_all_and_a_second_start_a_handful() -> None:
    """An unchanged receiver costs identity, status, settings and block sums at a restart, and no slot."""
    quay = filled()
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
    quay = filled(40)
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


async def test_board_work_becomes_one_event_a_block_and_drift() -> None:
    """The poller sees the revision move, waits till it stands, and tells what was done at the board."""
    quay = filled(40)
    async with quay.watching(5):
        board = quay.receiver.board
        board.learn(1005, 2, 2)
        board.unlearn(1040, 1, 1)
        board.learn(7, 1, 1)
        await quay.clock.advance(3)
    assert [name for name, _ in quay.told(*SLOTS_TOLD)] == ["slot.changed", "slot.changed", "drift.found"]
    first, second, drift = (data for _, data in quay.told(*SLOTS_TOLD))
    assert (first["block"], first["origin"], first["revision"]) == (0, "board", board.revision)
    assert first["slots"] == [{"slot": 5, "what": "changed", "serial": "0000001005", "origin": "board"}]
    assert [(slot["slot"], slot["what"]) for slot in second["slots"]] == [(40, "changed")]
    assert drift["words"] == [
        "Slot 5: transmitter 0000001005 was changed at the board.",
        "Slot 40: transmitter 0000001040 and 0000000007 was changed at the board.",
    ]


async def test_our_own_write_is_told_once_and_never_as_drift() -> None:
    """Recorded by whoever wrote it, or found by the poller first: one slot.changed with origin line."""
    quay = filled(3)
    async with quay.watching(5) as watch:
        receiver, board = quay.receiver, quay.receiver.board
        slot = some_slot(4, 7)
        await quay.clock.run(receiver.write_slots([slot], [1], board.revision))
        mirror = await record(quay, watch, {4: slot, 1: None})
        assert mirror.slots == board.slots
        assert mirror.revision == board.revision
        await quay.clock.advance(5)
        await quay.clock.run(receiver.write_slots([replace(slot, name="Berth 7")], [], board.revision))
        await quay.clock.advance(5)
        late = await record(quay, watch, {4: replace(slot, name="Berth 7")})
        assert late.slots == board.slots
    told = quay.told(*SLOTS_TOLD)
    assert [name for name, _ in told] == ["slot.changed", "slot.changed"]
    assert {data["origin"] for _, data in told} == {"line"}


async def test_an_interrupted_write_of_a_plan_is_not_drift() -> None:
    """The ring can't say who wrote, but a recent plan meant the slot to be so; another slot is drift."""
    quay = Quay(limits=some_limits(ring=2))
    async with quay.watching(5):
        meant, other = some_slot(1, 7), some_slot(2, 8)
        change = Change(ChangeKind.ADDED, 1, None, meant, "")
        plan = Plan("p1", "slip-gate", quay.clock.now(), "", 1, (change,), 0, 0.0, PlanState.FAILED)
        await quay.store.journal.commit(Commit(plans=(plan,)))
        quay.receiver.board.put(1, meant, Origin.LINE)
        quay.receiver.board.put(2, other, Origin.BOARD)
        for serial in (5, 6, 7):
            quay.receiver.board.press(serial)
        await quay.clock.advance(3)
    ((_, drift),) = quay.told(EventName.DRIFT_FOUND)
    assert [(slot["slot"], slot["origin"]) for slot in drift["slots"]] == [(2, None)]


async def test_an_on_time_taught_at_the_board_is_told_with_before_and_after() -> None:
    """Settings are read when the revision moved, and the change says who made it."""
    quay = filled(1)
    async with quay.watching(5):
        quay.receiver.board.change_on_time(2, 17)
        await quay.clock.advance(3)
    ((_, data),) = quay.told(EventName.SETTINGS_CHANGED)
    assert data["before"]["on_times_s"] == [5, 5]
    assert data["after"]["on_times_s"] == [5, 17]
    assert data["origin"] == "board"


async def test_a_setting_changed_within_the_revisions_of_our_own_write_is_still_found() -> None:
    """A recorded write may hide a setting taught meanwhile; the next refresh reads the settings again."""
    quay = filled(1)
    async with quay.watching(5) as watch:
        await quay.clock.run(quay.receiver.write_slots([some_slot(2, 7)], [], quay.receiver.board.revision))
        quay.receiver.board.change_on_time(1, 60)
        await record(quay, watch, {2: some_slot(2, 7)})
        await quay.clock.advance(5)
    ((_, data),) = quay.told(EventName.SETTINGS_CHANGED)
    assert data["after"]["on_times_s"] == [60, 5]


async def test_a_record_that_something_else_overtook_is_refreshed() -> None:
    """The sums given with a record show another change: the mirror stays at its revision and is read again."""
    quay = filled(1)
    async with quay.watching(5) as watch:
        await quay.clock.run(quay.receiver.write_slots([some_slot(2, 7)], [], quay.receiver.board.revision))
        quay.receiver.board.put(100, some_slot(100, 8), Origin.BOARD)
        mirror = await record(quay, watch, {2: some_slot(2, 7)})
        assert mirror.revision < quay.receiver.board.revision
        await quay.clock.advance(5)
        assert quay.mirror.slots == quay.receiver.board.slots
    ((_, drift),) = quay.told(EventName.DRIFT_FOUND)
    assert [slot["slot"] for slot in drift["slots"]] == [100]


async def test_a_change_in_the_middle_of_reading_is_read_again() -> None:
    """The revision moves between two blocks: sums are asked for again until all of it is true at one revision."""
    quay = filled(100)
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
    quay = filled(3)
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


async def test_a_change_found_while_reading_has_its_origin_too() -> None:
    """Somebody teaches a transmitter in the middle of a refresh: the ring is asked once more before it is told."""
    quay = filled(40)
    await quay.clock.run(quay.watch.keeper.refresh("slip-gate"))
    quay.receiver.board.learn(7, 1, 1)
    sums = quay.receiver.frames_of["read_block_crcs"]
    refreshing = asyncio.ensure_future(quay.watch.keeper.refresh("slip-gate"))
    while quay.receiver.frames_of["read_block_crcs"] == sums:
        await quay.clock.advance(0.001)
    quay.receiver.board.learn(1002, 4, 2)
    await quay.clock.run(refreshing)
    ((_, drift),) = quay.told(EventName.DRIFT_FOUND)
    assert [(slot["slot"], slot["origin"]) for slot in drift["slots"]] == [(2, "board"), (41, "board")]


async def test_a_record_older_than_the_mirror_changes_nothing() -> None:
    """The board changed the slot after our write, and a refresh has seen it: what the receiver holds stands."""
    quay = filled(1)
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
    quay = filled(1)
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
    quay = filled(3)
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
    quay = filled(10)
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
    quay = filled(100)
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
    """A full read tells how far it is, from nothing to all slots."""
    quay = filled(10)
    seen: list[tuple[int, int]] = []
    await quay.clock.run(
        quay.watch.keeper.refresh("slip-gate", progress=lambda done, total, words: seen.append((done, total)))
    )
    assert seen[0] == (0, 128)
    assert seen[-1] == (128, 128)


async def test_another_receiver_is_told_and_not_touched_until_confirmed() -> None:
    """Another serial answers: one event, the old mirror kept, refresh and record refused; confirmed, it is read."""
    quay = filled(10)
    receiver = quay.receiver
    async with quay.watching(5) as watch:
        receiver.fail(times=20)
        await quay.clock.advance(5)
        receiver.no_faults()
        receiver.board.replace_with("FQ-0002")
        receiver.board.put(1, some_slot(1, 55), Origin.BOARD)
        await quay.clock.advance(40)
        ((_, data),) = quay.told(EventName.RECEIVER_REPLACED)
        assert (data["known"], data["answers"], data["reason"]) == ("FQ-0001", "FQ-0002", "other-serial")
        assert quay.link() is LinkState.WRONG_RECEIVER
        assert not quay.mirror.confirmed
        assert len(quay.mirror.slots) == 10
        for call in (watch.keeper.refresh("slip-gate"), watch.keeper.record("slip-gate", {}, 1, ())):
            with pytest.raises(Refused) as refused:
                await quay.clock.run(call)
            assert refused.value.code == "receiver-unconfirmed"
        assert receiver.write_frames == 0
    async with quay.watching(5) as watch:
        assert len(quay.told(EventName.RECEIVER_REPLACED)) == 1, "told again after a restart"
        await quay.clock.run(watch.keeper.confirm("slip-gate"))
        await quay.clock.advance(5)
        assert quay.mirror.identity.serial == "FQ-0002"
        assert quay.mirror.slots == {1: some_slot(1, 55)}
        assert quay.link() is LinkState.ONLINE
        receiver.board.press(9)
        await quay.clock.advance(1)
    assert quay.told(*SLOTS_TOLD) == [], "a receiver that was never read has no changes"
    assert [data["serial"] for _, data in quay.told(EventName.TRANSMITTER_HEARD)] == ["0000000009"]


async def test_the_known_receiver_put_back_needs_no_confirmation() -> None:
    """The stranger goes, the known one returns: said so, and its mirror counts again."""
    quay = filled(10)
    receiver = quay.receiver
    async with quay.watching(5) as watch:
        known, receiver.board = receiver.board, Quay().receiver.board
        receiver.board.replace_with("FQ-0002")
        receiver.board.boot_count = 9
        await quay.clock.advance(3)
        assert quay.link() is LinkState.WRONG_RECEIVER
        receiver.board = known
        receiver.board.restart()
        await quay.clock.advance(3)
        assert quay.link() is LinkState.ONLINE
        assert (await quay.clock.run(watch.keeper.refresh("slip-gate"))).confirmed
    assert [data["reason"] for _, data in quay.told(EventName.RECEIVER_REPLACED)] == ["other-serial", "returned"]


async def test_a_revision_that_went_back_is_a_stranger() -> None:
    """No receiver resets its revision: the same serial with a lower one waits for somebody to look."""
    quay = filled(10)
    async with quay.watching(5) as watch:
        quay.receiver.board.revision -= 5
        await quay.clock.advance(3)
        assert quay.link() is LinkState.WRONG_RECEIVER
        quay.receiver.board.revision += 50
        await quay.clock.advance(3)
        assert quay.link() is LinkState.WRONG_RECEIVER, "a rising revision confirms nothing"
        await quay.clock.run(watch.keeper.confirm("slip-gate"))
        await quay.clock.advance(3)
        assert quay.mirror.revision == quay.receiver.board.revision
    assert [data["reason"] for _, data in quay.told(EventName.RECEIVER_REPLACED)] == ["revision-went-back", "confirmed"]


async def test_several_slots_in_one_request_are_all_ours() -> None:
    """The ring names only the lowest slot of a request; the others are known to be the line's, the board's are not."""
    quay = filled(40)
    async with quay.watching(5):
        receiver = quay.receiver
        receiver.board.learn(1007, 2, 2)
        await quay.clock.advance(3)
        slots = [some_slot(number, 5000 + number) for number in (5, 6, 7, 39)]
        await quay.clock.run(receiver.write_slots(slots, [20], receiver.board.revision))
        receiver.board.learn(1001, 4, 1)
        await quay.clock.advance(3)
    drifts = [data["slots"] for _, data in quay.told(EventName.DRIFT_FOUND)]
    assert [[(slot["slot"], slot["origin"]) for slot in slots] for slots in drifts] == [[(7, "board")], [(1, "board")]]


async def test_a_reset_at_the_board_is_told_as_what_it_is() -> None:
    """All slots are gone: the revision rose, nothing is restored, and the words say reset."""
    quay = filled(2)
    async with quay.watching(5):
        quay.receiver.board.reset()
        await quay.clock.advance(3)
        assert quay.mirror.slots == {}
    ((_, drift),) = quay.told(EventName.DRIFT_FOUND)
    assert drift["words"][0] == "Slot 1: transmitter 0000001001 was taken out by a reset of the receiver."
    assert quay.receiver.write_frames == 0


async def test_a_wrong_password_is_a_state_and_the_ring_is_read_late() -> None:
    """Status is polled on without the password; when it is right again, what the ring kept is told as history."""
    quay = filled(2)
    async with quay.watching(5):
        quay.receiver.board.set_password("anchor")
        await quay.clock.advance(3)
        quay.receiver.board.press(9)
        await quay.clock.advance(3)
        assert quay.link() is LinkState.PASSWORD_REFUSED
        assert quay.live.poll_rate_hz == pytest.approx(5.0, abs=0.2)
        assert quay.told(EventName.TRANSMITTER_HEARD, EventName.LINK_LOST) == []
        tries = quay.receiver.frames_of["read_ring"]
        await quay.clock.advance(10)
        assert quay.receiver.frames_of["read_ring"] == tries, "each wrong try is delayed by the receiver"
        quay.receiver.known_password = "anchor"
        await quay.clock.advance(61)
        assert quay.link() is LinkState.ONLINE
        (heard,) = quay.store.journal.all(EventName.TRANSMITTER_HEARD)
        assert heard.late is not None


async def test_a_refresh_that_cannot_be_kept_says_so() -> None:
    """The journal is full: the refresh fails, the old mirror stands, and the next one finds the same again."""
    quay = filled(2)
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
