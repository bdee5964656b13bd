"""Learning, unlearning, timing and resetting with the board's own buttons."""

from __future__ import annotations

import struct

import pytest

from gateway.virtual.board import Gesture
from tests.unit.virtual.asking import Desk, record, window

SLOT, SETTING, RESET, REFUSAL = 5, 6, 9, 10


def _learn(desk: Desk, serial: int, position: int, output: int, gesture: Gesture = Gesture.LEARN) -> str:
    desk.now += 1
    assert desk.receiver.board(gesture, output, desk.now) in ("waiting", "refused board-locked")
    return desk.receiver.press(serial, position, desk.now)


def test_learning_adds_exactly_one_pair_to_the_lowest_free_slot() -> None:
    """No kind, no name, no other right; the press itself moves nothing."""
    desk = Desk()
    desk.write(0x0100, window(1, record(1, 11), record(3, 33)))
    told = desk.long(0x0007)
    assert _learn(desk, 77, 2, 4) == "saved"
    assert desk.read(4, 0x4000 + 20, 20) == record(2, 77, (0, 8))
    assert desk.word(0x000C) == 0
    assert desk.events(told)[1] == (SLOT, 0, 77, 2, 2, 4, 1, 0)
    assert desk.revision == 3


def test_learning_keeps_everything_else_of_an_existing_slot() -> None:
    """Name, kind, flags and other pairs stay; learning what stands changes nothing."""
    desk = Desk()
    desk.write(0x0100, window(1, record(4, 44, (1, 2), b"Berth \xff", kind=5, flags=9)))
    assert _learn(desk, 44, 1, 3) == "saved"
    assert desk.read(4, 0x4000 + 60, 20) == record(4, 44, (5, 2), b"Berth \xff", kind=5, flags=9)
    assert _learn(desk, 44, 1, 3) == "saved"
    assert desk.revision == 3
    assert desk.write(0x0100, window(2, record(4, 45))) == 4  # board work is not written over unseen


def test_unlearning_removes_one_pair_and_the_last_one_frees_the_slot() -> None:
    """A pair that isn't there changes nothing; a transmitter without a slot is refused."""
    desk = Desk()
    desk.write(0x0100, window(1, record(4, 44, (3,))))
    assert _learn(desk, 44, 1, 4, Gesture.UNLEARN) == "saved"
    assert desk.revision == 2
    assert _learn(desk, 44, 1, 1, Gesture.UNLEARN) == "saved"
    assert desk.read(4, 0x4000 + 60, 20) == record(4, 44, (2,))
    assert _learn(desk, 44, 1, 2, Gesture.UNLEARN) == "saved"
    assert desk.read(4, 0x4000 + 60, 20) == b"\0\4" + bytes(38)
    assert _learn(desk, 44, 1, 2, Gesture.UNLEARN) == "refused unknown-transmitter"
    assert desk.events()[-1] == (REFUSAL, 0, 0, 0, 0, 0, 9, 0)


def test_a_full_memory_and_switched_off_local_programming_refuse() -> None:
    """`memory-full` and `board-locked`, in words, in the status and as events."""
    desk = Desk(slots=2)
    desk.write(0x0100, window(1, record(1, 11), record(2, 22)))
    assert _learn(desk, 33, 1, 1) == "refused memory-full"
    assert desk.word(0x0012) == 7
    desk.write_one(0x0008, 0)
    for gesture in Gesture:
        desk.now += 1
        assert desk.receiver.board(gesture, 1, desk.now) == "refused board-locked"
    assert desk.word(0x0012) == 6
    assert desk.events()[-1] == (REFUSAL, 0, 0, 0, 0, 0, 6, 0)


def test_the_lock_counts_when_the_press_comes_too() -> None:
    """Switched off while the board waited: refused, nothing stored."""
    desk = Desk()
    desk.receiver.board(Gesture.LEARN, 1, desk.now)
    desk.write_one(0x0008, 0)
    assert desk.receiver.press(5, 1, desk.now) == "refused board-locked"
    assert desk.read(4, 0x4000, 20) == b"\0\1" + bytes(38)


@pytest.mark.parametrize(("took", "stored"), [(0.4, 1), (7.49, 7), (7.5, 8), (3600.4, 3600)])
def test_timing_rounds_to_whole_seconds_within_the_limits(took: float, stored: int) -> None:
    """First press starts, second ends; other transmitters meanwhile work as always."""
    desk = Desk()
    desk.write(0x0100, window(1, record(1, 11), record(2, 22)))
    assert _learn(desk, 11, 1, 3, Gesture.TIME) == "heard"
    desk.now += took
    assert desk.receiver.press(22, 1, desk.now) == ""
    assert desk.word(0x000C) == 1
    assert desk.receiver.press(11, 1, desk.now) == "saved"
    assert struct.unpack(">4H", desk.read(3, 0x0000, 4)) == (5, 5, stored, 5)
    assert desk.events()[-1] == (SETTING, 0, 0, 0, 0, 3, stored, 0)


def test_timing_needs_a_known_transmitter_and_a_time_out_leaves_the_old_value() -> None:
    """60 s without the first press, or longer than the largest on-time without the second, end it."""
    desk = Desk()
    desk.write(0x0100, window(1, record(1, 11)))
    assert _learn(desk, 99, 1, 3, Gesture.TIME) == "refused unknown-transmitter"
    desk.receiver.board(Gesture.TIME, 3, desk.now)
    desk.now += 60
    assert desk.receiver.press(11, 1, desk.now) == ""
    assert _learn(desk, 11, 1, 3, Gesture.TIME) == "heard"
    desk.now += 3601
    assert desk.receiver.press(11, 1, desk.now) == ""
    assert struct.unpack(">4H", desk.read(3, 0x0000, 4)) == (5, 5, 5, 5)


def test_a_reset_at_the_board_asks_for_neither_password_nor_lock() -> None:
    """It is the way back for who forgot the link password."""
    desk = Desk()
    desk.write_one(0x0008, 0)
    desk.write(0x0028, b"quay\0\0\0\0")
    desk.write_one(0x0030, 1)
    assert desk.receiver.board_reset(desk.now) == "saved"
    assert desk.word(0x000E) == 0b010
    assert desk.events()[-1] == (RESET, 0, 0, 0, 0, 0, 0, 0)
    assert desk.revision == 4
