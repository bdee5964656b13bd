"""Frames bent on the way, by the hundred thousand: nothing crashes, and nothing is heard that did not stand there.

Half of them get a right check sum after the bending, as a broken or hostile unit would send them, so that what lies
behind the check sum is tried as well. What counts as a right sum is pymodbus's word, not ours. GATEPOST_FRAMES sets how
many; 20,000 unless told otherwise.
"""

from __future__ import annotations

import os
import random

import pytest
from pymodbus.framer import FramerRTU

from gateway import modbus
from gateway.errors import WrongAnswer

FRAMES = int(os.environ.get("GATEPOST_FRAMES", "20000"))
SEED = int(os.environ.get("GATEPOST_FRAMES_SEED", "8470"))
UNIT = 17

#: Requests of every form that is served, with an answer to each.
EXCHANGES: tuple[tuple[modbus.Request, modbus.Answer], ...] = (
    (modbus.ReadCoils(3, 11), modbus.BitsAnswer(1, (True, False, True, False) * 2 + (True, True, False))),
    (modbus.ReadDiscreteInputs(0, 8), modbus.BitsAnswer(2, (True, *6 * (False,), True))),
    (modbus.ReadHoldingRegisters(107, 3), modbus.RegistersAnswer(3, b"\x02\x2b\x00\x00\x00\x64")),
    (modbus.ReadInputRegisters(8, 1), modbus.RegistersAnswer(4, b"\x00\x0a")),
    (modbus.WriteCoil(172, True), modbus.WriteAnswer(5, 172, 0xFF00)),
    (modbus.WriteRegister(1, 3), modbus.WriteAnswer(6, 1, 3)),
    (modbus.WriteCoils(19, (True, False) * 5), modbus.WriteManyAnswer(15, 19, 10)),
    (modbus.WriteRegisters(1, b"\x00\x0a\x01\x02"), modbus.WriteManyAnswer(16, 1, 2)),
    (modbus.ReadHoldingRegisters(0, 8), modbus.ExceptionAnswer(3, 2)),
    (
        modbus.ReadDeviceIdentification(1, 0),
        modbus.IdentificationAnswer(1, 0x81, False, 0, ((0, b"Fennel"), (1, b"R8"), (2, b"1.2"))),
    ),
)


def right_sum(frame: bytes) -> bool:
    """Whether the last two bytes are the check sum of the others, low byte first, by pymodbus."""
    return len(frame) > 3 and FramerRTU.compute_CRC(frame[:-2]).to_bytes(2, "big") == frame[-2:]


def bent(frame: bytes, other: bytes, dice: random.Random) -> bytes:
    """Up to three of the things that happen on a line, or that a hostile unit does."""
    data = bytearray(frame)
    for _ in range(dice.randint(1, 3)):
        at = dice.randrange(len(data) + 1)
        match dice.randrange(7):
            case 0 if data:
                data[at % len(data)] ^= 1 << dice.randrange(8)
            case 1:
                del data[at : at + dice.randint(1, 4)]
            case 2:
                data[at:at] = dice.randbytes(dice.randint(1, 6))
            case 3:
                data = data[:at]
            case 4:
                data += other
            case 5 if data:
                data[at % len(data)] = dice.choice((0, 1, 3, 0x2B, 0x7F, 0x80, 0x83, 0xFF))
            case _:
                data[:0] = other[: dice.randint(1, len(other))]
    if dice.random() < 0.5:
        data += FramerRTU.compute_CRC(bytes(data)).to_bytes(2, "big")
    return bytes(data)


def pieces(data: bytes, dice: random.Random) -> list[bytes]:
    """As a port may hand it over."""
    found = []
    while data:
        size = dice.choice((1, 2, 8, 64, len(data)))
        found.append(data[:size])
        data = data[size:]
    return found


def decoded(request: modbus.Request, pdu: bytes) -> modbus.Answer | None:
    try:
        return modbus.decode_answer(request, pdu)
    except WrongAnswer:
        return None


def refusal(pdu: bytes) -> int | None:
    try:
        modbus.decode_request(pdu)
    except modbus.RequestFault as fault:
        return fault.exception_code
    return None


@pytest.mark.timeout(120 + FRAMES // 1000)
def test_bent_frames_on_the_masters_side() -> None:
    """An answer that is accepted stood in the bytes, with the right sum and the right form."""
    dice, accepted = random.Random(SEED), 0
    for turn in range(FRAMES):
        request, answer = dice.choice(EXCHANGES)
        sent = modbus.frame(UNIT, request.encode())
        data = bent(modbus.frame(UNIT, modbus.encode_answer(answer)), sent, dice)
        framer = modbus.AnswerFramer(UNIT, request, sent, echo=dice.random() < 0.2)
        for piece in pieces(data, dice):
            framer.feed(piece)
            assert framer.answer is not None or framer.missing > 0, (SEED, turn, data.hex())
        framer.conclude()
        if framer.answer is not None:
            accepted += 1
            size = len(modbus.frame(UNIT, modbus.encode_answer(framer.answer)))
            found = [data[at : at + size] for at in range(len(data) - size + 1) if data[at] == UNIT]
            told = [decoded(request, whole[1:-2]) for whole in found if right_sum(whole)]
            assert framer.answer in told, (SEED, turn, data.hex())
    assert 0 < accepted < FRAMES


@pytest.mark.timeout(120 + FRAMES // 1000)
def test_bent_frames_on_the_units_side() -> None:
    """A request that is found stood in the bytes with the right sum; it is decoded or refused by a published code."""
    dice, found, refused = random.Random(SEED + 1), 0, 0
    for turn in range(FRAMES):
        request, answer = dice.choice(EXCHANGES)
        data = bent(modbus.frame(UNIT, request.encode()), modbus.frame(UNIT, modbus.encode_answer(answer)), dice)
        framer = modbus.RequestFramer()
        heard = [request for piece in pieces(data, dice) for request in framer.feed(piece)]
        for unit, pdu in [*heard, *framer.reset()]:
            found += 1
            whole = bytes([unit]) + pdu
            assert right_sum(whole + FramerRTU.compute_CRC(whole).to_bytes(2, "big"))
            assert whole + FramerRTU.compute_CRC(whole).to_bytes(2, "big") in data, (SEED, turn, data.hex())
            code = refusal(pdu)
            assert code in (None, 1, 2, 3), (SEED, turn, data.hex())
            refused += code is not None
    assert 0 < refused < found
