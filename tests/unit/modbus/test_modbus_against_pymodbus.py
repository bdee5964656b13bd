"""Our bytes and an independent library's (pymodbus 3) are the same, both ways."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from pymodbus.framer import FramerRTU
from pymodbus.pdu import DecodePDU
from pymodbus.pdu.bit_message import ReadCoilsRequest, WriteMultipleCoilsRequest
from pymodbus.pdu.register_message import ReadHoldingRegistersRequest, WriteMultipleRegistersRequest

from gateway import modbus
from tests.unit.modbus.strategies import patient, requests


@patient
@given(st.binary(min_size=1, max_size=254))
def test_the_crc_is_theirs(data: bytes) -> None:
    """CRC-16 of any bytes."""
    assert modbus.crc16(data).to_bytes(2, "little") == FramerRTU.compute_CRC(data).to_bytes(2, "big")


@patient
@given(requests, st.integers(1, 247))
def test_their_decoder_reads_our_requests(request: modbus.Request, unit: int) -> None:
    """Every request frame is found by their framer and encodes to the same bytes again."""
    decoder = DecodePDU(True)
    whole = modbus.frame(unit, request.encode())
    used, device, _, pdu = FramerRTU(decoder).decode(whole)
    assert (used, device) == (len(whole), unit)
    assert pdu == request.encode()
    theirs = decoder.decode(pdu)
    assert theirs is not None
    assert bytes((theirs.function_code,)) + theirs.encode() == pdu


@patient
@given(st.integers(0, 65000), st.lists(st.integers(0, 0xFFFF), min_size=1, max_size=123))
def test_we_read_their_register_writes(address: int, values: list[int]) -> None:
    """Function 16 as they encode it."""
    theirs = WriteMultipleRegistersRequest(address=address, registers=values)
    request = modbus.decode_request(b"\x10" + theirs.encode())
    data = b"".join(value.to_bytes(2, "big") for value in values)
    assert request == modbus.WriteRegisters(address, data)


@patient
@given(st.integers(0, 60000), st.lists(st.booleans(), min_size=1, max_size=1968))
def test_we_read_their_coil_writes(address: int, values: list[bool]) -> None:
    """Function 15 as they encode it."""
    theirs = WriteMultipleCoilsRequest(address=address, bits=values)
    request = modbus.decode_request(b"\x0f" + theirs.encode())
    assert request == modbus.WriteCoils(address, tuple(values))


@patient
@given(st.integers(0, 60000), st.integers(1, 125))
def test_we_read_their_reads(address: int, count: int) -> None:
    """Functions 1 and 3 as they encode them."""
    coils = ReadCoilsRequest(address=address, count=count)
    assert modbus.decode_request(b"\x01" + coils.encode()) == modbus.ReadCoils(address, count)
    registers = ReadHoldingRegistersRequest(address=address, count=count)
    assert modbus.decode_request(b"\x03" + registers.encode()) == modbus.ReadHoldingRegisters(address, count)
