"""Another receiver in the known one's place, and a receiver that stays locked."""

from __future__ import annotations

import pytest

from gateway.domain.events import EventName
from gateway.domain.live import LinkState
from gateway.domain.receiver import Origin
from gateway.errors import Refused
from tests.fakes.quay import Quay
from tests.fakes.receiver import some_slot

SLOTS_TOLD = (EventName.SLOT_CHANGED, EventName.DRIFT_FOUND)


async def test_another_receiver_is_told_and_not_touched_until_confirmed() -> None:
    """Another serial answers: one event, the old mirror kept, refresh and record refused; confirmed, it is read."""
    quay = Quay.filled(10)
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
        (kept,) = quay.store.snapshots.kept.values()
        assert (kept.reason, kept.identity.serial, len(kept.slots)) == ("replaced", "FQ-0001", 10)
        assert kept.output_modes == tuple(quay.receiver.board.modes)
        assert not quay.mirror.confirmed
        assert len(quay.mirror.slots) == 10
        receiver.board.set_input(1, True)
        receiver.board.press(77)
        await quay.clock.advance(1)
        assert len(quay.told(EventName.INPUT_CHANGED)) == 1, "what a status shows is told even so"
        for call in (watch.keeper.refresh("slip-gate"), watch.keeper.record("slip-gate", {}, 1, ())):
            with pytest.raises(Refused) as refused:
                await quay.clock.run(call)
            assert refused.value.code == "receiver-unconfirmed"
        assert receiver.write_frames == 0
    async with quay.watching(5) as watch:
        assert len(quay.told(EventName.RECEIVER_REPLACED)) == 1, "told again after a restart"
        assert len(quay.store.snapshots.kept) == 1
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
    quay = Quay.filled(10)
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
    quay = Quay.filled(10)
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


async def test_a_wrong_password_is_a_state_and_the_ring_is_read_late() -> None:
    """Status is polled on without the password; when it is right again, what the ring kept is told as history."""
    quay = Quay.filled(2)
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
