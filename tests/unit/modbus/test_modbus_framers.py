"""Finding frames in bytes: any split, any rubbish, both sides."""

from __future__ import annotations

import itertools
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway import modbus
from tests.unit.modbus.strategies import exchanges, patient, requests

units = st.integers(1, 247)


def pieces(data: bytes, cuts: list[int]) -> list[bytes]:
    """`data` cut at those places."""
    places = sorted({0, len(data), *(cut % (len(data) + 1) for cut in cuts)})
    return [data[a:b] for a, b in itertools.pairwise(places)]


@patient
@given(units, requests, st.lists(st.integers(0, 300), max_size=6))
def test_requests_round_trip_through_any_split(unit: int, request: modbus.Request, cuts: list[int]) -> None:
    """What the master encodes the unit finds and decodes, at the last byte and not before."""
    framer = modbus.RequestFramer()
    found: list[tuple[int, bytes]] = []
    whole = modbus.frame(unit, request.encode())
    for piece in pieces(whole, cuts):
        assert not found
        found += framer.feed(piece)
    assert [(where, modbus.decode_request(pdu)) for where, pdu in found] == [(unit, request)]
    assert framer.waiting == 0


@patient
@given(units, exchanges, st.lists(st.integers(0, 300), max_size=6))
def test_answers_round_trip_through_any_split(
    unit: int, exchange: tuple[modbus.Request, modbus.Answer], cuts: list[int]
) -> None:
    """Whole at the last byte, never before, and `missing` never asks for more than is to come."""
    request, answer = exchange
    framer = modbus.AnswerFramer(unit, request, modbus.frame(unit, request.encode()))
    whole = modbus.frame(unit, modbus.encode_answer(answer))
    left = len(whole)
    for piece in pieces(whole, cuts):
        assert framer.answer is None
        heard = framer.feed(piece)
        left -= len(piece)
        if heard is modbus.Heard.PART and len(whole) - left > 1:
            assert 0 < framer.missing <= left
    assert framer.answer == answer
    assert framer.conclude() is modbus.Heard.ANSWER


@patient
@given(units, exchanges, st.binary(max_size=12), st.booleans())
def test_an_answer_is_found_behind_noise_and_behind_the_echo(
    unit: int, exchange: tuple[modbus.Request, modbus.Answer], noise: bytes, echo: bool
) -> None:
    """Noise that doesn't look like the answer's own beginning is stepped over; so is the request's echo."""
    request, answer = exchange
    sent = modbus.frame(unit, request.encode())
    noise = bytes(byte for byte in noise if byte != unit)
    if echo:
        noise = sent
    framer = modbus.AnswerFramer(unit, request, sent, echo=echo)
    framer.feed(noise)
    framer.feed(modbus.frame(unit, modbus.encode_answer(answer)))
    assert framer.answer == answer


@patient
@given(units, requests, st.lists(st.binary(max_size=300), max_size=5))
def test_rubbish_never_breaks_a_framer(unit: int, request: modbus.Request, rubbish: list[bytes]) -> None:
    """Any bytes in any pieces: no exception, a bounded buffer, and `missing` is always positive."""
    framer = modbus.AnswerFramer(unit, request, modbus.frame(unit, request.encode()))
    listener = modbus.RequestFramer()
    for piece in rubbish:
        framer.feed(piece)
        assert framer.answer is not None or framer.missing > 0
        for _, pdu in listener.feed(piece):
            assert _refusal(pdu) in (None, 1, 2, 3)
        assert listener.waiting < modbus.LONGEST_FRAME
    framer.conclude()
    listener.reset()


def _refusal(pdu: bytes) -> int | None:
    try:
        modbus.decode_request(pdu)
    except modbus.RequestFault as fault:
        return fault.exception_code
    return None


@patient
@given(st.binary(max_size=260))
def test_any_pdu_is_decoded_or_refused(pdu: bytes) -> None:
    """The unit's side never raises anything but RequestFault, with a code of the standard."""
    assert _refusal(pdu) in (None, 1, 2, 3)


def test_no_frame_is_found_in_noise() -> None:
    """A million random bytes in front of a master that waits: 0 answers."""
    dice = random.Random(11)
    request = modbus.ReadHoldingRegisters(0, 8)
    sent = modbus.frame(1, request.encode())
    for _ in range(4000):
        framer = modbus.AnswerFramer(1, request, sent)
        framer.feed(dice.randbytes(250))
        assert framer.answer is None


@patient
@given(exchanges, st.integers(0, 5000), st.integers(1, 255))
def test_a_changed_byte_is_never_the_same_answer_accepted(
    exchange: tuple[modbus.Request, modbus.Answer], place: int, change: int
) -> None:
    """CRC-16 finds every burst of up to 16 bits, so one changed byte is never accepted."""
    request, answer = exchange
    whole = bytearray(modbus.frame(1, modbus.encode_answer(answer)))
    whole[place % len(whole)] ^= change
    framer = modbus.AnswerFramer(1, request, modbus.frame(1, request.encode()))
    framer.feed(bytes(whole))
    assert framer.answer is None


def test_a_unit_finds_a_request_behind_rubbish_at_once() -> None:
    """No silence is needed when the rubbish can't be the beginning of a frame."""
    good = modbus.frame(17, modbus.ReadHoldingRegisters(107, 3).encode())
    for rubbish in (b"\xff", b"\xf8\x03\x00", b"\x05\x99", b"\x05", good[:-1] + b"\x00"):
        framer = modbus.RequestFramer()
        assert framer.feed(rubbish + good) == [(17, good[1:-2])], rubbish


def test_silence_ends_a_frame_of_unknown_function() -> None:
    """Its length can't be known, so only silence shows that it is whole; then it can be refused with 01."""
    strange = modbus.frame(17, b"\x41\x01\x02\x03")
    framer = modbus.RequestFramer()
    assert framer.feed(strange) == []
    assert framer.reset() == [(17, b"\x41\x01\x02\x03")]
    assert framer.reset() == []


def test_silence_forgets_a_frame_that_was_cut() -> None:
    """The rest of it never comes, and must not swallow the next one."""
    good = modbus.frame(17, modbus.WriteRegisters(0, bytes(100)).encode())
    framer = modbus.RequestFramer()
    assert framer.feed(good[:60]) == []
    assert framer.reset() == []
    assert framer.feed(good) == [(17, good[1:-2])]


def test_functions_that_are_not_served_are_framed_all_the_same() -> None:
    """The standards' own frames of functions 22 and 24 (V1.1b3, 6.16 and 6.18), to be answered with 01."""
    for text in ("11 16 00 04 00 F2 00 25 66 E2", "11 18 04 DE 07 87"):
        whole = bytes.fromhex(text)
        assert modbus.RequestFramer().feed(whole) == [(17, whole[1:-2])]


@pytest.mark.parametrize(
    ("heard", "ended"),
    [
        (b"", modbus.Heard.NOTHING),
        (b"\x99", modbus.Heard.DAMAGED),
        (modbus.frame(1, b"\x04\x02\x00\x01"), modbus.Heard.FOREIGN),
        (modbus.frame(2, b"\x03\x02\x00\x01"), modbus.Heard.FOREIGN),
        (b"\x01\x03\x10\x00", modbus.Heard.DAMAGED),
    ],
)
def test_what_silence_makes_of_what_was_heard(heard: bytes, ended: modbus.Heard) -> None:
    """Nothing, a frame to another question, or damage."""
    request = modbus.ReadHoldingRegisters(0, 8)
    framer = modbus.AnswerFramer(1, request, modbus.frame(1, request.encode()))
    framer.feed(heard)
    assert framer.conclude() is ended


def test_a_frame_embedded_in_damaged_data_is_not_an_exception() -> None:
    """Data that hold a whole exception frame, in an answer with a wrong CRC: the data are not obeyed."""
    request = modbus.ReadHoldingRegisters(0, 8)
    inner = modbus.frame(1, b"\x83\x02")
    whole = bytearray(modbus.frame(1, b"\x03\x10" + inner + bytes(11)))
    whole[-1] ^= 1
    framer = modbus.AnswerFramer(1, request, modbus.frame(1, request.encode()))
    assert framer.feed(bytes(whole)) is modbus.Heard.DAMAGED
    assert framer.answer is None
