"""Transmitters, relays, contacts, selectors and the ring, as the wire shows them."""

from __future__ import annotations

import struct

from gateway.domain.receiver import OutputMode
from tests.unit.virtual.asking import Desk, record, window

START, PRESS, INPUT, OUTPUT, MODE = 1, 2, 3, 4, 8
BOARD, RADIO = 0, 1


def _desk() -> Desk:
    """Serial 11 works outputs 1 to 3 with positions 1 to 3: latching, timed (5 s), momentary."""
    desk = Desk()
    desk.write(0x0100, window(1, record(1, 11, (1, 2, 4)), record(2, 22, (0, 0, 4))))
    desk.receiver.set_mode(1, OutputMode.LATCHING, desk.now)
    desk.receiver.set_mode(3, OutputMode.MOMENTARY, desk.now)
    return desk


def _press(desk: Desk, serial: int, position: int, at: float | None = None) -> str:
    desk.now = at if at is not None else desk.now
    return desk.receiver.press(serial, position, desk.now)


def test_a_press_begins_after_300_ms_without_the_same() -> None:
    """Telegrams closer than that belong to one press; another position or transmitter is a press of its own."""
    desk = _desk()
    told = desk.long(0x0007)
    assert _press(desk, 99, 1, 101.0) == ""
    assert _press(desk, 99, 1, 101.29) == "repeated"
    assert _press(desk, 99, 1, 101.58) == "repeated"
    assert _press(desk, 99, 2, 101.58) == ""
    assert _press(desk, 98, 1, 101.58) == ""
    assert _press(desk, 99, 1, 101.89) == ""
    presses = [(event[2], event[4]) for event in desk.events(told)]
    assert presses == [(99, 1), (99, 2), (98, 1), (99, 1)]


def test_latching_toggles_with_every_press() -> None:
    """A held button is one press."""
    desk = _desk()
    _press(desk, 11, 1, 101.0)
    assert desk.word(0x000C) == 0b001
    desk.now = 110.0
    assert desk.word(0x000C) == 0b001
    desk.receiver.press(11, 1, desk.now, hold=True)
    desk.now = 120.0
    assert desk.word(0x000C) == 0


def test_timed_closes_for_its_on_time_and_a_press_starts_it_again() -> None:
    """5 s after the last press it opens, with the origin board and the exact uptime in its event."""
    desk = _desk()
    _press(desk, 11, 2, 101.0)
    _press(desk, 11, 2, 104.0)
    desk.now = 108.9
    assert desk.word(0x000C) == 0b010
    desk.now = 150.0
    assert desk.word(0x000C) == 0
    number = desk.long(0x0007)
    raw = struct.unpack(">IHIBBIHBBHH", desk.read(4, 0x1000 + 12 * (number - 1), 12))
    assert raw == (number, 1, 90, OUTPUT, BOARD, 0, 0, 0, 2, 0, 0)  # 9.0 s after the start at 100.0


def test_momentary_is_closed_while_any_button_that_works_it_is_held() -> None:
    """Release counts 300 ms after the last telegram; a single telegram closes for as long."""
    desk = _desk()
    desk.receiver.press(11, 3, desk.now, hold=True)
    desk.now = 130.0
    assert desk.word(0x000C) == 0b100
    _press(desk, 22, 3)
    assert desk.receiver.release(11, 3, desk.now)
    desk.now += 0.29
    assert desk.word(0x000C) == 0b100
    desk.now += 0.02
    assert desk.word(0x000C) == 0
    assert not desk.receiver.release(11, 3, desk.now)


def test_presses_without_rights_are_told_and_move_nothing() -> None:
    """Unknown transmitters have slot 0; a known one keeps its slot on a position without outputs."""
    desk = _desk()
    told = desk.long(0x0007)
    _press(desk, 4_294_967_295, 8)
    _press(desk, 11, 7)
    assert desk.events(told) == [
        (PRESS, RADIO, 4_294_967_295, 0, 8, 0, 0, 0),
        (PRESS, RADIO, 11, 1, 7, 0, 0, 0),
    ]
    assert desk.word(0x000C) == 0


def test_the_lower_of_two_slots_with_one_serial_works() -> None:
    """The memory allows it; docs/register-map.md says which one counts."""
    desk = Desk()
    desk.write(0x0100, window(1, record(3, 11, (2,)), record(9, 11, (8,))))
    _press(desk, 11, 1)
    assert desk.word(0x000C) == 0b0010


def test_contacts_and_selectors_are_told_once_for_each_change() -> None:
    """Nothing is told when they already stand so; turning a selector opens its output."""
    desk = _desk()
    _press(desk, 11, 1)
    told = desk.long(0x0007)
    for violated in (True, True, False):
        desk.receiver.set_input(2, violated, desk.now)
    desk.receiver.set_mode(1, OutputMode.TIMED, desk.now)
    desk.receiver.set_mode(1, OutputMode.TIMED, desk.now)
    assert desk.events(told) == [
        (INPUT, BOARD, 0, 0, 0, 2, 1, 0),
        (INPUT, BOARD, 0, 0, 0, 2, 0, 0),
        (OUTPUT, BOARD, 0, 0, 0, 1, 0, 0),
        (MODE, BOARD, 0, 0, 0, 1, 1, 0),
    ]
    assert desk.revision == 2  # modes are not in the memory


def test_a_start_opens_the_outputs_and_numbers_events_from_one() -> None:
    """The boot count rises, contacts are as they are, and what was written to the ring before is gone."""
    desk = _desk()
    _press(desk, 11, 1)
    desk.receiver.set_input(1, True, desk.now)
    desk.receiver.power_off(desk.now)
    desk.receiver.set_input(4, True, desk.now)
    desk.receiver.power_on(desk.now + 5)
    desk.now += 7.9
    assert desk.read(4, 0x0001, 12) == struct.pack(">5I2H", 2, 2, 2, 1, 1, 0b1001, 0)
    assert desk.events() == [(START, BOARD, 0, 0, 0, 0, 0, 0)]


def test_the_ring_keeps_the_newest_512() -> None:
    """Event n lies at place (n - 1) modulo 512; the status tells the oldest still there."""
    desk = Desk()
    for turn in range(600):
        desk.receiver.set_input(1, not turn % 2, desk.now)
    assert (desk.long(0x0007), desk.long(0x0009)) == (601, 90)
    assert desk.long(0x1000 + 12 * ((601 - 1) % 512)) == 601
    assert desk.long(0x1000 + 12 * ((90 - 1) % 512)) == 90
    assert desk.long(0x1000 + 12 * ((89 - 1) % 512)) == 601
