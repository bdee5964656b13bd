"""Enrolment over a watched receiver on virtual time: listening, hearing, confirming, ending."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import pytest

from gateway.domain.enrolment import Enrolment, EnrolmentStep, EnrolmentWay
from gateway.domain.enrolment_words import enrolment_words
from gateway.domain.events import EventName
from gateway.domain.receiver import Capability, Origin
from gateway.errors import GatepostError, LineError, NoAnswer, NotFound, Refused, Unsupported
from tests.fakes.clock import FakeClock
from tests.fakes.receiver import EVERYTHING, FakeReceiver, some_limits, some_slot
from tests.fakes.sync_house import SyncHouse, entry, quay_receiver, roster

A, B, C = 48231907, 48231911, 48231950
TWO, SEVERAL, TYPED = EnrolmentWay.TWO_PRESSES, EnrolmentWay.SEVERAL, EnrolmentWay.TYPED
PRESSED = EnrolmentWay.TYPED_AND_PRESSED
Step = EnrolmentStep


@asynccontextmanager
async def quay(
    receiver: FakeReceiver | None = None, clock: FakeClock | None = None, *, house: SyncHouse | None = None
) -> AsyncIterator[SyncHouse]:
    """A watched slip gate whose memory holds Berth 1, and whatever follows presses; or this house."""
    if house is None:
        clock = clock or FakeClock()
        receiver = receiver or quay_receiver(clock=clock)
        receiver.board.put(1, some_slot(1, 1, name="Berth 1"), Origin.LINE)
        house = SyncHouse([receiver], clock=clock)
        house.rosters.put(roster(entry(1)))
    async with asyncio.TaskGroup() as group:
        works = (house.watch.run(), house.enroller.run(), house.runner.run(), house.override_runs.run())
        tasks = [group.create_task(work) for work in works]
        await house.clock.advance(2)
        try:
            yield house
        finally:
            for task in tasks:
                task.cancel()


async def begin(house: SyncHouse, way: EnrolmentWay = TWO, **more: Any) -> Enrolment:
    return await house.clock.run(house.enroller.start("slip-gate", way, asked_by="Kim", **more))


async def press(house: SyncHouse, *serials: int, pause_s: float = 1.0) -> None:
    """Presses with a pause after each, in which polls come by."""
    for serial in serials:
        house.receivers["slip-gate"].board.press(serial)
        await house.clock.advance(pause_s)


def now(house: SyncHouse, enrolment: Enrolment) -> Enrolment:
    return house.enroller.get("slip-gate", enrolment.id)


def steps(house: SyncHouse) -> list[str]:
    return [event.data["state"] for event in house.store.journal.all(EventName.ENROLMENT_CHANGED)]


def listening(house: SyncHouse) -> bool:
    return house.receivers["slip-gate"].board.listening


async def test_two_presses_of_one_transmitter_confirm_it() -> None:
    """Listening, heard, confirmed: each step told, the listening over, and nothing written."""
    async with quay() as house:
        made = await begin(house)
        assert (made.step, listening(house)) == (Step.LISTENING, True)
        await press(house, A)
        assert now(house, made).step is Step.HEARD
        await press(house, A)
        found = now(house, made)
        assert (found.step, [each.serial for each in found.confirmed]) == (Step.CONFIRMED, [A])
        assert not listening(house)
        assert steps(house) == ["listening", "heard", "confirmed"]
        assert house.receivers["slip-gate"].write_frames == 0
        last = house.store.journal.all(EventName.ENROLMENT_CHANGED)[-1].data
        assert (last["serial"], last["presses"], last["confirmed"]) == ("0048231907", 2, ["0048231907"])


async def test_two_transmitters_in_one_window_are_a_conflict() -> None:
    """Also when both presses come with the same poll; the receiver stops listening."""
    async with quay() as house:
        made = await begin(house)
        await press(house, A, B, pause_s=0.0)
        await house.clock.advance(2)
        found = now(house, made)
        assert (found.step, {each.serial for each in found.heard}) == (Step.CONFLICT, {A, B})
        assert (found.confirmed, listening(house)) == ((), False)
        data = house.store.journal.all(EventName.ENROLMENT_CHANGED)[-1].data
        assert data["conflicting"] == ["0048231907", "0048231911"]


async def test_another_press_right_behind_the_confirming_one_is_a_conflict_too() -> None:
    """What is certain was alone in its window to the very end of it."""
    async with quay() as house:
        made = await begin(house)
        await press(house, A)
        await press(house, A, B, pause_s=0.0)
        await house.clock.advance(2)
        assert now(house, made).step is Step.CONFLICT


async def test_a_known_holder_who_opens_the_gate_is_a_conflict_with_a_name() -> None:
    """Known transmitters go on working while it listens, and count."""
    async with quay() as house:
        made = await begin(house)
        await press(house, 1, A)
        found = now(house, made)
        assert found.step is Step.CONFLICT
        assert found.heard[0].holder == "Berth 1"


async def test_a_known_serial_shows_its_holder() -> None:
    """Enrolled by mistake it is recognised before anybody says whose it is."""
    async with quay() as house:
        made = await begin(house)
        await press(house, 1, 1)
        assert now(house, made).confirmed[0].holder == "Berth 1"
        words = house.store.journal.all(EventName.ENROLMENT_CHANGED)[-1].data["words"]
        assert "which Berth 1 has" in words


@pytest.mark.parametrize("presses", [0, 1])
async def test_listening_ends_by_itself_and_nothing_is_certain(presses: int) -> None:
    """After a minute at most, also with one press of two."""
    async with quay() as house:
        made = await begin(house)
        await press(house, *[A] * presses)
        await house.clock.advance(62)
        found = now(house, made)
        assert (found.step, found.confirmed, listening(house)) == (Step.ENDED, (), False)
        await press(house, A, A)
        assert now(house, made).step is Step.ENDED


async def test_it_listens_no_longer_than_asked() -> None:
    """Five seconds are five seconds, and never more than a minute."""
    async with quay() as house:
        made = await begin(house, seconds=5)
        await house.clock.advance(7)
        assert now(house, made).step is Step.ENDED
        made = await begin(house, seconds=600)
        await house.clock.advance(62)
        assert now(house, made).step is Step.ENDED


async def test_a_press_at_the_last_moment_counts() -> None:
    """What was pressed before the end and read after it is not missed."""
    async with quay() as house:
        made = await begin(house, seconds=10)
        began = house.clock.monotonic()
        await press(house, A)
        await house.clock.advance(began + 9.9 - house.clock.monotonic())
        assert listening(house)
        await press(house, A, pause_s=3.0)
        assert now(house, made).step is Step.CONFIRMED


async def test_the_receiver_ends_it_itself() -> None:
    """Somebody else made it stop: seen by its own word, long before the minute is over."""
    async with quay() as house:
        made = await begin(house)
        house.receivers["slip-gate"].board.listen(0)
        await house.clock.advance(6)
        assert now(house, made).step is Step.ENDED


async def test_presses_from_before_do_not_count() -> None:
    """Neither those of a window just before, though they are read later, nor those of somebody else's."""
    async with quay() as house:
        board = house.receivers["slip-gate"].board
        board.listen(30)
        board.press(A)
        made = await begin(house)
        await press(house, A)
        assert now(house, made).step is Step.HEARD
        assert now(house, made).heard[0].presses == 1


async def test_a_typed_serial_and_the_press_that_matches() -> None:
    """One press is enough; another transmitter's is a conflict."""
    async with quay() as house:
        made = await begin(house, PRESSED, serial=A)
        await press(house, A)
        assert [each.serial for each in now(house, made).confirmed] == [A]
        made = await begin(house, PRESSED, serial=A)
        await press(house, B)
        assert now(house, made).step is Step.CONFLICT


async def test_a_typed_serial_alone() -> None:
    """Confirmed at once; nothing listens, and the line is not asked."""
    async with quay() as house:
        made = await begin(house, TYPED, serial=A)
        assert (made.step, made.confirmed[0].serial, listening(house)) == (Step.CONFIRMED, A, False)
        assert steps(house) == ["confirmed"]


async def test_several_in_a_row() -> None:
    """Each in a window of its own; finished, all of them are confirmed."""
    async with quay() as house:
        made = await begin(house, SEVERAL)
        await press(house, A, A)
        await house.clock.advance(1)
        assert (now(house, made).step, listening(house)) == (Step.LISTENING, True)
        await press(house, A, B, B)
        await house.clock.advance(1)
        await press(house, C)
        await house.clock.run(house.enroller.finish("slip-gate", made.id))
        found = now(house, made)
        assert (found.step, [each.serial for each in found.confirmed]) == (Step.CONFIRMED, [A, B])
        assert not listening(house)


async def test_of_several_a_conflict_spoils_its_own_window() -> None:
    """The one confirmed before stays so, and the next window is a clean one."""
    async with quay() as house:
        made = await begin(house, SEVERAL)
        await press(house, A, A)
        await house.clock.advance(1)
        await press(house, B, C)
        await house.clock.advance(1)
        assert now(house, made).step is Step.LISTENING
        assert "conflict" in steps(house)
        await press(house, C, C)
        await house.clock.advance(63)
        assert [each.serial for each in now(house, made).confirmed] == [A, C]
        assert now(house, made).step is Step.CONFIRMED


async def test_one_at_a_time_for_a_receiver() -> None:
    """A second one is refused while the first one listens, and not afterwards."""
    async with quay() as house:
        made = await begin(house)
        with pytest.raises(Refused) as refused:
            await begin(house)
        assert refused.value.code == "enrolment-running"
        await house.clock.run(house.enroller.cancel("slip-gate", made.id))
        assert (now(house, made).step, listening(house)) == (Step.CANCELLED, False)
        assert (await begin(house)).step is Step.LISTENING
        assert [each.step for each in house.enroller.of("slip-gate")] == [Step.LISTENING, Step.CANCELLED]


async def test_a_receiver_that_restarts_meanwhile() -> None:
    """It no longer listens; nothing is certain, and the enrolment says why."""
    async with quay() as house:
        made = await begin(house)
        await press(house, A)
        house.receivers["slip-gate"].board.restart()
        await house.clock.advance(3)
        found = now(house, made)
        assert (found.step, found.confirmed) == (Step.FAILED, ())
        assert "restarted" in found.problem


async def test_a_receiver_that_is_lost_meanwhile() -> None:
    """What was pressed can't be known for certain: failed, whatever was heard before."""
    async with quay() as house:
        made = await begin(house)
        await press(house, A)
        house.receivers["slip-gate"].link_error = NoAnswer("silence")
        await house.clock.advance(70)
        assert now(house, made).step is Step.FAILED
        house.receivers["slip-gate"].link_error = None
        await house.clock.advance(40)
        assert (await begin(house)).step is Step.LISTENING


async def test_a_receiver_that_can_not_be_reached() -> None:
    """Starting says so, and keeps nothing."""
    async with quay() as house:
        house.receivers["slip-gate"].link_error = NoAnswer("silence")
        with pytest.raises(LineError):
            await begin(house)
        house.receivers["slip-gate"].link_error = None
        await house.clock.advance(40)
        await begin(house)


async def test_a_full_disk_refuses_the_start() -> None:
    """Presses are heard through the journal; without it nothing can be enrolled."""
    async with quay() as house:
        house.store.journal.full = True
        with pytest.raises(GatepostError):
            await begin(house)
        house.store.journal.full = False
        await house.clock.advance(20)
        await begin(house)


async def test_what_can_not_be_asked() -> None:
    """No serial where one is needed, none at all, and names that don't exist."""
    async with quay() as house:
        for way in (TYPED, PRESSED):
            with pytest.raises(Refused) as refused:
                await begin(house, way)
            assert refused.value.code == "serial-missing"
            with pytest.raises(Refused) as refused:
                await begin(house, way, serial=0)
            assert refused.value.code == "serial-out-of-range"
        with pytest.raises(NotFound):
            house.enroller.get("slip-gate", "e-none")
        with pytest.raises(NotFound):
            house.enroller.of("boathouse")


async def test_a_map_without_enrolment() -> None:
    """Absent, not an error of the line."""
    clock = FakeClock()
    deaf = FakeReceiver(
        "slip-gate", clock=clock, limits=some_limits(slots=64, outputs=3, block_slots=8), slots_per_write=3,
        capabilities=EVERYTHING - {Capability.ENROLMENT},
    )  # fmt: skip
    async with quay(deaf, clock) as house:
        with pytest.raises(Unsupported):
            await begin(house)


async def test_a_restart_ends_what_listened_and_says_so() -> None:
    """Nobody knows what was pressed meanwhile. The same id is found again, with what happened and what to do."""
    async with quay() as house:
        made = await begin(house)
        await press(house, A)
        assert now(house, made).step is Step.HEARD
    async with quay(house=house.restarted()) as again:
        found = now(again, made)
        assert (found.step, found.ends, found.heard) == (Step.FAILED, None, ())
        assert "restarted" in found.problem
        assert "again" in found.remedy
        assert steps(again)[-1] == "failed"
        assert await again.enroller.finish("slip-gate", made.id) == found
        second = await begin(again)
        assert second.id != made.id
        await press(again, A)
        await press(again, A)
        assert now(again, second).step is Step.CONFIRMED


async def test_what_was_confirmed_is_certain_after_a_restart_too() -> None:
    """Alone, and of several what was confirmed before the window that was cut; it can be completed."""
    async with quay() as house:
        several = await begin(house, EnrolmentWay.SEVERAL)
        await press(house, A)
        await press(house, A)
        await press(house, B)
    async with quay(house=house.restarted()) as again:
        found = now(again, several)
        assert (found.step, [each.serial for each in found.confirmed]) == (Step.CONFIRMED, [A])
        assert again.enroller.is_in_time(found)
        await again.enroller.complete(found)
    async with quay(house=house.restarted()) as third:
        assert now(third, several).step is Step.COMPLETED


async def test_what_is_confirmed_says_what_is_known_of_it() -> None:
    """Whose it is, that it is revoked, and whether anything is left to be said."""
    async with quay() as house:
        typed = await begin(house, TYPED, serial=A)
        assert enrolment_words(typed) == "Confirmed: transmitter 0048231907. Say now who holds it."
        await house.revoker.revoke(A, asked_by="Kim", reason="lost")
        await house.revoker.revoke(1, asked_by="Kim", reason="lost")
        found = enrolment_words(await begin(house, TYPED, serial=A))
        assert found == "Confirmed: transmitter 0048231907, which is revoked. Say now who holds it."
        known = enrolment_words(await begin(house, TYPED, serial=1))
        assert known == (
            "Confirmed: transmitter 0000000001, which Berth 1 has and which is revoked. The roster has it already."
        )
