"""The driver against the virtual receiver: reading, writing, the board, the lock, and maps of other shapes."""

from __future__ import annotations

import contextlib
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import TypeVar

import pytest

from gateway.domain.receiver import BoardEvent, Capability, OutputMode, RingPlace, Slot
from gateway.errors import LineError, NoAnswer, ReceiverRefused, Unsupported, WrongReceiver
from gateway.maps import load_map
from gateway.ports import Receiver
from gateway.receivers import RegisterMapReceiver, build_receiver
from tests.integration.driver_bench import bench

_T = TypeVar("_T")
SMALL_MAP = str(Path(__file__).with_name("driver-small-map.toml"))


def slot(number: int, serial: int, *, name: str = "", opaque: bytes = bytes(6), positions: int = 8) -> Slot:
    groups = (frozenset({1, 2}), *(frozenset[int]() for _ in range(positions - 1)))
    return Slot(number, serial, 5 if name else 0, groups, name, 0x8001 if name else 0, opaque)


async def write(receiver: RegisterMapReceiver, slots: list[Slot], freed: list[int] | None = None) -> None:
    """As a plan does it: as many as go into a frame, the newest revision seen each time."""
    waiting: list[Slot | int] = [*slots, *(freed or [])]
    while waiting:
        group, waiting = waiting[: receiver.slots_per_write], waiting[receiver.slots_per_write :]
        seen = (await receiver.read_status()).revision
        assert seen is not None
        await receiver.write_slots(
            [item for item in group if isinstance(item, Slot)],
            [item for item in group if isinstance(item, int)],
            seen,
        )


async def prove(receiver: Receiver, held: dict[int, Slot]) -> None:
    """The receiver's own sums are those of exactly these slots."""
    _, limits = await receiver.identify()
    stated = await receiver.read_block_crcs()
    assert stated.crcs == tuple(receiver.block_crc(limits, block, held) for block in range(limits.blocks))


async def test_a_full_memory_is_written_read_and_proven(tmp_path: Path) -> None:
    """1024 slots with names, flags and opaque octets; a driver that has seen nothing of them gets the same."""
    held = {n: slot(n, 48_000_000 + n, name=f"Berth {n}", opaque=n.to_bytes(6, "big")) for n in range(1, 1025)}
    async with bench(tmp_path) as on:
        await write(on.receiver, list(held.values()))
        await prove(on.receiver, held)
        fresh = on.another(lambda: "")
        assert await fresh.read_slots(range(1, 1025)) == held
        await prove(fresh, held)


async def test_scattered_slots_are_written_and_freed(tmp_path: Path) -> None:
    """Neighbours stay as they were; what was freed is gone."""
    async with bench(tmp_path) as on:
        await write(on.receiver, [slot(n, n, name="Berth") for n in (3, 4, 5, 64, 65, 900)])
        await write(on.receiver, [slot(64, 7, name="Hoist"), slot(1024, 8)], [4, 900])
        expected = {n: slot(n, n, name="Berth") for n in (3, 5, 65)} | {
            64: slot(64, 7, name="Hoist"),
            1024: slot(1024, 8),
        }
        assert await on.receiver.read_slots(range(1, 1025)) == expected
        await prove(on.receiver, expected)


async def test_work_at_the_board_between_is_not_overwritten(tmp_path: Path) -> None:
    """Learning changes slot 1 after the revision seen; the write is refused and nothing of it is done."""
    async with bench(tmp_path) as on:
        seen = (await on.receiver.read_status()).revision
        assert seen is not None
        on.command("board learn 1")
        on.command("press 48231907 1")
        with pytest.raises(ReceiverRefused) as caught:
            await on.receiver.write_slots([slot(1, 5), slot(2, 6)], [], seen)
        assert caught.value.code == "slot-changed"
        found = await on.receiver.read_slots([1, 2])
        assert list(found) == [1]
        assert found[1].serial == 48_231_907
        await prove(on.receiver, found)


async def test_presses_and_contacts_are_read_from_the_ring(tmp_path: Path) -> None:
    """In order and with what they tell; a restart begins anew."""
    async with bench(tmp_path) as on:
        await write(on.receiver, [slot(1, 48_231_907)])
        before = await on.receiver.read_status()
        assert before.boot_count is not None
        assert before.newest_event is not None
        place = RingPlace(before.boot_count, before.newest_event)
        on.command("input 2 violated")
        on.command("press 48231907 1")
        after = await on.receiver.read_status()
        read = await on.receiver.read_ring(place, after)
        told = [(entry.kind, entry.serial, entry.number) for entry in read.entries]
        assert told[:2] == [(BoardEvent.INPUT, 0, 2), (BoardEvent.PRESS, 48_231_907, 0)]
        assert after.input_violated == (False, True, False, False)
        assert after.output_closed[:2] == (True, True)
        on.command("power off")
        on.command("power on")
        restarted = await on.receiver.read_status()
        anew = await on.receiver.read_ring(place, restarted)
        assert anew.restarted
        assert anew.entries[0].kind is BoardEvent.START


async def test_a_ring_that_turned_over_tells_how_much_is_lost(tmp_path: Path) -> None:
    """600 changes of a contact into a ring of 512."""
    async with bench(tmp_path) as on:
        before = await on.receiver.read_status()
        assert before.boot_count is not None
        for turn in range(600):
            on.command(f"input 1 {'violated' if turn % 2 == 0 else 'normal'}")
        status = await on.receiver.read_status()
        read = await on.receiver.read_ring(RingPlace(before.boot_count, before.newest_event or 0), status)
        assert (read.lost, len(read.entries)) == (88, 512)


async def test_settings_are_written_and_proven(tmp_path: Path) -> None:
    """On-time, local programming and the selector that is only read."""
    async with bench(tmp_path) as on:
        on.command("mode 2 latching")
        await on.receiver.write_on_time(2, 90)
        await on.receiver.write_local_programming(False)
        settings = await on.receiver.read_settings()
        status = await on.receiver.read_status()
        assert settings.on_times_s == (5, 90, 5, 5)
        assert not settings.local_programming
        assert status.output_modes is not None
        assert status.output_modes[1] is OutputMode.LATCHING
        assert "refused" in on.command("board learn 1")


async def test_a_factory_reset_is_proven(tmp_path: Path) -> None:
    """No slots, no password, and the same receiver still."""
    async with bench(tmp_path, password=lambda: "quay-7") as on:
        await on.receiver.write_password("quay-7")
        await write(on.receiver, [slot(7, 7)])
        await on.receiver.factory_reset()
        status = await on.receiver.read_status()
        assert (status.password_set, await on.receiver.read_slots(range(1, 1025))) == (False, {})


async def test_listening_is_started_and_ended(tmp_path: Path) -> None:
    """The seconds left are in the status."""
    async with bench(tmp_path) as on:
        await on.receiver.listen(30)
        left = (await on.receiver.read_status()).enrolment_left_s
        assert left is not None
        assert 28 <= left <= 30
        await on.receiver.listen(0)
        assert (await on.receiver.read_status()).enrolment_left_s == 0
        with pytest.raises(ReceiverRefused) as caught:
            await on.receiver.listen(61)
        assert caught.value.code == "out-of-range"


async def test_after_a_restart_the_receiver_is_unlocked_again_by_itself(tmp_path: Path) -> None:
    """Unlocking ends with the power; the next request that needs it unlocks."""
    async with bench(tmp_path, password=lambda: "quay-7") as on:
        await on.receiver.write_password("quay-7")
        await write(on.receiver, [slot(1, 5)])
        on.command("power off")
        on.command("power on")
        assert await on.receiver.read_slots([1]) == {1: slot(1, 5)}


async def test_a_wrong_password_is_refused_once_and_the_status_stays(tmp_path: Path) -> None:
    """The receiver's waits don't pile up, because the word isn't offered again."""
    async with bench(tmp_path, password=lambda: "quay-7") as on:
        await on.receiver.write_password("quay-7")
        on.command("power off")
        on.command("power on")
        stranger = on.another(lambda: "berth-1")
        sent = on.line.counters.frames_sent
        for _ in range(5):
            with pytest.raises(ReceiverRefused) as caught:
                await stranger.read_slots([1])
            assert caught.value.code == "password-refused"
        assert (await stranger.read_status()).password_set
        assert on.line.counters.frames_sent - sent < 16


@pytest.mark.parametrize("step", range(5))
async def test_a_password_change_cut_at_any_step_can_be_mended(tmp_path: Path, step: int) -> None:
    """An answer is dropped at each step in turn; after the next restart new, then old is tried and one works."""
    async with bench(tmp_path, password=lambda: "quay-7", tries=1) as on:
        await on.receiver.write_password("quay-7")
        await on.receiver.identify()
        on.command(f"fault drop-every {step + 1}")
        with contextlib.suppress(LineError):
            await on.receiver.write_password("hoist-3")
        on.command("fault drop-every 0")
        on.command("power off")
        on.command("power on")
        assert await _patiently(lambda: on.receiver.read_slots([1])) == {}
        await _patiently(lambda: on.receiver.write_password("hoist-3"))
        assert not on.receiver.password_in_doubt
        on.command("power off")
        on.command("power on")
        assert await _patiently(lambda: on.another(lambda: "hoist-3").read_slots([1])) == {}


async def _patiently(ask: Callable[[], Awaitable[_T]]) -> _T:
    """Once more when nothing was heard: with one try at a time a busy machine can be too late for an answer."""
    for _ in range(4):
        with contextlib.suppress(NoAnswer):
            return await ask()
    return await ask()


async def test_late_answers_never_become_slots(tmp_path: Path) -> None:
    """Every seventh read is answered after its time-out: each slot read is the one that was asked for."""
    held = {n: slot(n, n, name=f"Berth {n}") for n in range(1, 65)}
    async with bench(tmp_path) as on:
        await write(on.receiver, list(held.values()))
        for number in range(1, 65):
            if number % 7 == 0:
                on.command("fault late 0.06 1")
            assert await on.receiver.read_slots([number]) == {number: held[number]}
        assert on.line.counters.timeouts >= 9


async def test_a_map_of_another_shape_goes_through_the_same_driver(tmp_path: Path) -> None:
    """Low word first, 200 nameless slots, four positions, blocks of 16, a ring of 40; no enrolment, no reset."""
    held = {n: slot(n, 0x0001_0000 + n, opaque=b"\1\2\3\4", positions=4) for n in range(1, 201)}
    async with bench(tmp_path, map_name=SMALL_MAP, slots=200, password=lambda: "quay-7") as on:
        identity, limits = await on.receiver.identify()
        assert (identity.map_name, limits.slots, limits.blocks, limits.name_bytes) == ("quay-small", 200, 13, 0)
        assert on.receiver.fit_name(limits, "Berth 12") == ""
        assert Capability.SLOTS in on.receiver.capabilities
        assert Capability.ENROLMENT not in on.receiver.capabilities
        await on.receiver.write_password("quay-7")
        await write(on.receiver, list(held.values()))
        assert await on.receiver.read_slots(range(1, 201)) == held
        await prove(on.receiver, held)
        await on.receiver.write_on_time(4, 600)
        assert (await on.receiver.read_settings()).on_times_s == (5, 5, 5, 600)
        status = await on.receiver.read_status()
        read = await on.receiver.read_ring(RingPlace(status.boot_count or 0, 0), status)
        assert read.entries[-1].place.number == status.newest_event
        assert read.lost == 0 or len(read.entries) == 40
        with pytest.raises(Unsupported):
            await on.receiver.listen(10)


async def test_a_plain_board_on_a_line_is_its_map_alone(tmp_path: Path) -> None:
    """Inputs and outputs from two tables of bits."""
    async with bench(tmp_path, map_name="plain-io") as on:
        on.command("input 3 violated")
        on.command("output 2 closed")
        status = await on.receiver.read_status()
        assert status.input_violated == (False, False, True, *[False] * 5)
        assert status.output_closed == (False, True, *[False] * 6)
        assert on.receiver.capabilities == frozenset()


async def test_a_receiver_of_another_map_is_told(tmp_path: Path) -> None:
    """The reference receiver has no registers where the small map looks for them."""
    async with bench(tmp_path) as on:
        wrong = build_receiver("slip-gate", load_map(SMALL_MAP), on.line, 1)
        with pytest.raises(WrongReceiver, match="line, address and map"):
            await wrong.identify()


async def test_a_power_cut_in_a_slot_write_leaves_whole_slots(tmp_path: Path) -> None:
    """Three of six slots are durable; the driver says that it doesn't know, and reading tells."""
    async with bench(tmp_path) as on:
        await write(on.receiver, [slot(n, n) for n in range(1, 7)])
        seen = (await on.receiver.read_status()).revision
        assert seen is not None
        on.command("fault power-cut 3 0.1")
        with pytest.raises(LineError):
            await on.receiver.write_slots([slot(n, 100 + n) for n in range(1, 7)], [], seen)
        held = await on.receiver.read_slots(range(1, 7))
        assert held == {n: slot(n, 100 + n if n <= 3 else n) for n in range(1, 7)}
        await prove(on.receiver, held)


async def test_noise_costs_repeats_and_never_a_wrong_slot(tmp_path: Path) -> None:
    """One byte in 2000 is damaged, each way."""
    held = {n: slot(n, n, name=f"Berth {n}") for n in range(1, 129)}
    async with bench(tmp_path, tries=8) as on:
        await write(on.receiver, list(held.values()))
        on.command("fault noise 0.0005")
        assert await on.receiver.read_slots(range(1, 1025)) == held
        on.command("fault noise 0")
        assert on.line.counters.retries > 0


async def test_an_output_is_operated_once_and_opens_by_itself(tmp_path: Path) -> None:
    """The receiver times the end; the same nonce again does nothing; a latching output is refused."""
    async with bench(tmp_path) as on:
        on.command("mode 3 latching")
        checks: list[object] = []
        await on.receiver.operate(1, 2, 77, lambda *both: checks.append(both))
        assert (await on.receiver.read_status()).output_closed[0]
        with pytest.raises(ReceiverRefused) as caught:
            await on.receiver.operate(3, 2, 78, lambda *both: checks.append(both))
        assert caught.value.code == "mode-forbids"
        assert len(checks) == 2
