"""Limits of requests, and what a unit answers to a request that breaks them (V1.1b3, section 6)."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from gateway import modbus


@pytest.mark.parametrize(
    "build",
    [
        lambda: modbus.ReadCoils(0, 0),
        lambda: modbus.ReadCoils(0, 2001),
        lambda: modbus.ReadDiscreteInputs(65535, 2),
        lambda: modbus.ReadHoldingRegisters(0, 126),
        lambda: modbus.ReadInputRegisters(-1, 1),
        lambda: modbus.WriteCoil(65536, True),
        lambda: modbus.WriteRegister(0, 65536),
        lambda: modbus.WriteCoils(0, ()),
        lambda: modbus.WriteCoils(0, (True,) * 1969),
        lambda: modbus.WriteRegisters(0, b""),
        lambda: modbus.WriteRegisters(0, bytes(248)),
        lambda: modbus.WriteRegisters(0, b"odd"),
        lambda: modbus.ReadDeviceIdentification(0),
        lambda: modbus.ReadDeviceIdentification(4, 256),
    ],
)
def test_requests_outside_the_limits_are_refused(build: Callable[[], object]) -> None:
    """A request that the standard doesn't allow can't be built."""
    with pytest.raises(ValueError, match=r"standard|outside|fit|whole"):
        build()


@pytest.mark.parametrize(
    ("largest", "length"),
    [
        (modbus.ReadCoils(0, 2000), 252),
        (modbus.ReadHoldingRegisters(0, 125), 252),
        (modbus.WriteCoils(0, (True,) * 1968), 5),
        (modbus.WriteRegisters(0, bytes(246)), 5),
    ],
)
def test_the_largest_requests_fit_the_largest_pdu(largest: modbus.Request, length: int) -> None:
    """A PDU has at most 253 bytes (V1.1b3, section 4.1), and the answer's length is known beforehand."""
    assert len(largest.encode()) <= 253
    assert largest.answer_length == length


@pytest.mark.parametrize(
    ("pdu", "code"),
    [
        ("", 1),
        ("16 00 04 00 F2 00 25", 1),  # function 22 is not served
        ("2B 0D 01 00", 1),  # another MEI type
        ("03 00 00 00 00", 3),
        ("03 00 00 00 7E", 3),
        ("01 00 00 07 D1", 3),
        ("03 FF FF 00 02", 2),
        ("05 00 00 12 34", 3),  # neither FF00 nor 0000
        ("0F 00 00 00 0A 01 FF", 3),  # ten coils need two bytes
        ("10 00 00 00 01 04 00 00 00 00", 3),
        ("10 00 00 00 01 04 00 00", 3),  # byte count and length differ
        ("10 FF FF 00 02 04 00 00 00 00", 2),
        ("2B 0E 05 00", 3),
        ("06 00", 3),
    ],
)
def test_a_unit_answers_a_broken_request_with_the_standards_exception(pdu: str, code: int) -> None:
    """Function, then quantity and value, then address are judged, as in the standard's diagrams."""
    with pytest.raises(modbus.RequestFault) as fault:
        modbus.decode_request(bytes.fromhex(pdu))
    assert fault.value.exception_code == code


def test_an_answer_longer_than_a_pdu_is_refused() -> None:
    """The unit has to cut a stream of identification objects itself."""
    objects = tuple((number, b"x" * 60) for number in range(5))
    with pytest.raises(ValueError, match="253"):
        modbus.encode_answer(modbus.IdentificationAnswer(1, 1, False, 0, objects))


def test_exceptions_have_names() -> None:
    """Known codes in the standard's words, others by number."""
    assert modbus.exception_name(2) == "illegal data address"
    assert modbus.exception_name(0x7F) == "unknown exception 7F"
