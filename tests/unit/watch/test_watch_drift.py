"""Slot changes: one event a block, whose they are, and which of them are drift."""

from __future__ import annotations

import asyncio
from dataclasses import replace

from gateway.domain.events import EventName
from gateway.domain.plan import Change, ChangeKind, Plan, PlanState
from gateway.domain.receiver import Origin
from gateway.ports import Commit
from tests.fakes.quay import Quay
from tests.fakes.receiver import some_limits, some_slot

SLOTS_TOLD = (EventName.SLOT_CHANGED, EventName.DRIFT_FOUND)


async def test_board_work_becomes_one_event_a_block_and_drift() -> None:
    """The poller sees the revision move, waits till it stands, and tells what was done at the board."""
    quay = Quay.filled(40)
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


def _plan(quay: Quay, state: PlanState, *changes: Change) -> Plan:
    return Plan("p1", "slip-gate", quay.clock.now(), "", 1, changes, 0, 0.0, state)


async def test_our_own_write_is_told_once_and_never_as_drift() -> None:
    """Recorded by whoever wrote it, or found by the poller first: one slot.changed with origin line."""
    quay = Quay.filled(3)
    async with quay.watching(5):
        receiver, board = quay.receiver, quay.receiver.board
        slot = some_slot(4, 7)
        renamed = Change(ChangeKind.CHANGED, 4, slot, replace(slot, name="Berth 7"), "")
        await quay.store.journal.commit(Commit(plans=(_plan(quay, PlanState.APPLYING, renamed),)))
        await quay.clock.run(receiver.write_slots([slot], [1], board.revision))
        mirror = await quay.record({4: slot, 1: None})
        assert mirror.slots == board.slots
        assert mirror.revision == board.revision
        await quay.clock.advance(5)
        await quay.clock.run(receiver.write_slots([replace(slot, name="Berth 7")], [], board.revision))
        await quay.clock.advance(5)
        late = await quay.record({4: replace(slot, name="Berth 7")})
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
        await quay.store.journal.commit(Commit(plans=(_plan(quay, PlanState.FAILED, change),)))
        quay.receiver.board.put(1, meant, Origin.LINE)
        quay.receiver.board.put(2, other, Origin.BOARD)
        for serial in (5, 6, 7):
            quay.receiver.board.press(serial)
        await quay.clock.advance(3)
    ((_, drift),) = quay.told(EventName.DRIFT_FOUND)
    assert [(slot["slot"], slot["origin"]) for slot in drift["slots"]] == [(2, None)]


async def test_a_change_found_while_reading_has_its_origin_too() -> None:
    """Somebody teaches a transmitter in the middle of a refresh: the ring is asked once more before it is told."""
    quay = Quay.filled(40)
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


async def test_several_slots_in_one_request_are_all_ours() -> None:
    """The ring names only the lowest slot of a request; the others are known to be the line's, the board's are not."""
    quay = Quay.filled(40)
    async with quay.watching(5):
        receiver = quay.receiver
        receiver.board.learn(1007, 2, 2)
        await quay.clock.advance(3)
        slots = [some_slot(number, 5000 + number) for number in (5, 6, 7, 39)]
        changes = [Change(ChangeKind.CHANGED, slot.number, None, slot, "") for slot in slots]
        freed = Change(ChangeKind.REMOVED, 20, some_slot(20, 1020), None, "")
        await quay.store.journal.commit(Commit(plans=(_plan(quay, PlanState.APPLYING, *changes, freed),)))
        await quay.clock.run(receiver.write_slots(slots, [20], receiver.board.revision))
        receiver.board.learn(1001, 4, 1)
        await quay.clock.advance(3)
    drifts = [data["slots"] for _, data in quay.told(EventName.DRIFT_FOUND)]
    assert [[(slot["slot"], slot["origin"]) for slot in slots] for slots in drifts] == [[(7, "board")], [(1, "board")]]


async def test_a_reset_at_the_board_is_told_as_what_it_is() -> None:
    """All slots are gone: the revision rose, nothing is restored, and the words say reset."""
    quay = Quay.filled(2)
    async with quay.watching(5):
        quay.receiver.board.reset()
        await quay.clock.advance(3)
        assert quay.mirror.slots == {}
    ((_, drift),) = quay.told(EventName.DRIFT_FOUND)
    assert drift["words"][0] == "Slot 1: transmitter 0000001001 was taken out by a reset of the receiver."
    assert quay.receiver.write_frames == 0
