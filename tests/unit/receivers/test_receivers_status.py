"""Status and identity from the registers; the reference receiver's as literals, a plain board's as bits."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gateway.domain.receiver import Capability, EnrolmentState, OutputMode, RingPlace
from gateway.errors import ReceiverException, Unsupported, WrongReceiver
from gateway.maps import load_map
from gateway.receivers.identity import limits_from
from gateway.receivers.status import decode_status
from tests.fakes.register_wire import FakeUnit
from tests.unit.receivers.making import REFERENCE, make

PLAIN = load_map("plain-io")


async def test_one_poll_is_one_frame_and_tells_everything() -> None:
    """Every field of the status block comes from its published register."""
    unit = FakeUnit()
    unit.set_long(1, 0x0001_0002)
    unit.set_long(3, 3_700)
    unit.set_long(7, 12)
    unit.set_long(9, 3)
    unit.set_words(11, 0b101, 0b0010, 0b00_10_01_00, 0b111, 42, 1, 30, 6)
    receiver, wire, _ = make(unit)
    await receiver.identify()
    wire.asked.clear()
    status = await receiver.read_status()
    assert len(wire.asked) == 1
    assert status.input_violated == (True, False, True)
    assert status.output_closed == (False, True, False, False)
    assert status.output_modes == (OutputMode.LATCHING, OutputMode.TIMED, OutputMode.MOMENTARY, OutputMode.LATCHING)
    assert (status.map_version, status.boot_count, status.uptime_s, status.revision) == (1, 0x1_0002, 3_700, 100)
    assert (status.newest_event, status.oldest_event) == (12, 3)
    assert (status.password_set, status.local_programming, status.busy, status.unlocked_s) == (True, True, True, 42)
    assert (status.enrolment, status.enrolment_left_s) == (EnrolmentState.LISTENING, 30)
    assert status.last_refusal == "board-locked"


def test_no_refusal_and_unknown_codes_are_none() -> None:
    """A mode that isn't known makes the modes unknown rather than wrong."""
    status = decode_status(
        {"modes": ("timed", "code-3"), "last_refusal": "none", "enrolment": "code-9"}, outputs=2, inputs=0
    )
    assert (status.output_modes, status.last_refusal, status.enrolment) == (None, None, None)


async def test_who_answers_comes_from_the_identity_block() -> None:
    """Texts and limits are the receiver's own."""
    receiver, _, _ = make()
    identity, limits = await receiver.identify()
    assert (identity.serial, identity.maker, identity.product, identity.version) == (
        "FQ-0000042",
        "Unnamed",
        "Receiver",
        "2.1",
    )
    assert (limits.outputs, limits.inputs, limits.slots, limits.name_bytes, limits.ring) == (4, 3, 1024, 16, 512)


def test_limits_never_pass_the_maps() -> None:
    """A receiver that promises more than the map has room for is believed up to there."""
    told = limits_from(REFERENCE, {"outputs": 12, "slots": 4096, "ring": 9999, "on_time_min_s": 0, "name_bytes": 40})
    assert (told.outputs, told.slots, told.ring, told.on_time_min_s, told.name_bytes) == (8, 1024, 512, 1, 16)
    fewer = limits_from(REFERENCE, {"block_slots": 16, "slots": 1024})
    assert fewer.slots == 512, "32 sums of 16 slots each prove 512 slots"


async def test_another_map_version_is_told_before_anything_else_is_believed() -> None:
    """The message says which versions met and what to do."""
    unit = FakeUnit()
    unit.set_words(0, 2)
    receiver, _, _ = make(unit)
    with pytest.raises(WrongReceiver, match=r"version 2 .* is version 1.*name a map of that version"):
        await receiver.identify()


async def test_a_device_without_the_maps_registers_is_another_device() -> None:
    """Exceptions 01 and 02 while identifying mean the wrong map, line or address."""
    receiver, wire, _ = make()
    wire.fail(ReceiverException("No such address.", function=4, exception=2))
    with pytest.raises(WrongReceiver, match=r"does not have the registers.*line, address and map"):
        await receiver.identify()


async def test_a_plain_board_is_status_alone() -> None:
    """Inputs by function 2, outputs by function 1; what its map lacks is unsupported, not an error of the line."""
    unit = FakeUnit(plain=True)
    unit.bits[2][2] = unit.bits[1][0] = True
    receiver, wire, _ = make(unit, receiver_map=PLAIN)
    status = await receiver.read_status()
    assert status.input_violated == (False, False, True, *[False] * 5)
    assert status.output_closed == (True, *[False] * 7)
    assert (status.revision, status.boot_count, status.output_modes) == (None, None, None)
    assert receiver.capabilities == frozenset()
    wire.asked.clear()
    with pytest.raises(Unsupported, match="has no slots"):
        await receiver.read_slots([1])
    with pytest.raises(Unsupported, match="has no password"):
        await receiver.write_password("x")
    with pytest.raises(Unsupported, match="has no events"):
        await receiver.read_ring(RingPlace(0, 0), status)
    assert wire.asked == []


async def test_a_board_in_blocks_of_eight_has_one_row_of_inputs() -> None:
    """Blocks with fields of one name follow each other; sixteen bits come in the order of their numbers."""
    first, outputs = PLAIN.blocks
    second = replace(first, name="inputs, more", address=16)
    wide = replace(PLAIN, blocks=(first, outputs, second), limits=replace(PLAIN.limits, inputs=12, outputs=8))
    unit = FakeUnit(plain=True)
    unit.bits[2][1] = unit.bits[2][18] = True
    receiver, _, _ = make(unit, receiver_map=wide)
    violated = (await receiver.read_status()).input_violated
    assert [number for number, is_violated in enumerate(violated, 1) if is_violated] == [2, 11]
    assert len(violated) == 12


async def test_device_identification_names_a_board_that_has_no_identity_block() -> None:
    """43/14 where the map says so; the map's own words for what it leaves out."""
    unit = FakeUnit(plain=True)
    unit.objects = {0: b"Unnamed", 2: b"V1.02"}
    receiver, _, _ = make(unit, receiver_map=replace(PLAIN, device_identification=True))
    identity, _ = await receiver.identify()
    assert (identity.maker, identity.product, identity.version) == ("Unnamed", "relay and input board", "V1.02")


def test_capabilities_are_the_maps() -> None:
    """The reference map has all of them."""
    receiver, _, _ = make()
    assert receiver.capabilities == frozenset(Capability)
