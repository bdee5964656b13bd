"""The unit's side: requests read from PDUs, answers written to PDUs.

A request that breaks a limit of the standard becomes the exception that the standard's state diagrams give
for it (Modbus Application Protocol V1.1b3, section 6): 01 for a function that is not served, 03 for a wrong
quantity, value or byte count, 02 for a range that passes 65535. Whether an address exists is the unit's to say.
"""

from __future__ import annotations

from gateway.modbus.answers import (
    Answer,
    BitsAnswer,
    ExceptionAnswer,
    IdentificationAnswer,
    RegistersAnswer,
)
from gateway.modbus.exceptions import ExceptionCode, RequestFault
from gateway.modbus.requests import (
    MEI_DEVICE_IDENTIFICATION,
    ReadCoils,
    ReadDeviceIdentification,
    ReadDiscreteInputs,
    ReadHoldingRegisters,
    ReadInputRegisters,
    Request,
    WriteCoil,
    WriteCoils,
    WriteRegister,
    WriteRegisters,
    pack_bits,
    unpack_bits,
)

__all__ = ["decode_request", "encode_answer"]

_READS: dict[int, type[ReadCoils | ReadDiscreteInputs | ReadHoldingRegisters | ReadInputRegisters]] = {
    read.function: read for read in (ReadCoils, ReadDiscreteInputs, ReadHoldingRegisters, ReadInputRegisters)
}


def decode_request(pdu: bytes) -> Request:
    """The request in `pdu`. Raises RequestFault with the exception code to answer with."""
    if not pdu:
        raise RequestFault(ExceptionCode.ILLEGAL_FUNCTION)
    function = pdu[0]
    if function in _READS:
        return _read(pdu)
    if function in (WriteCoil.function, WriteRegister.function):
        return _write_one(pdu)
    if function in (WriteCoils.function, WriteRegisters.function):
        return _write_many(pdu)
    if function == ReadDeviceIdentification.function:
        return _identification(pdu)
    raise RequestFault(ExceptionCode.ILLEGAL_FUNCTION)


def _word(pdu: bytes, place: int) -> int:
    return pdu[place] << 8 | pdu[place + 1]


def _check(good: bool, code: ExceptionCode = ExceptionCode.ILLEGAL_DATA_VALUE) -> None:
    if not good:
        raise RequestFault(code)


def _check_range(address: int, count: int, limit: int) -> None:
    _check(1 <= count <= limit)
    _check(address + count <= 0x10000, ExceptionCode.ILLEGAL_DATA_ADDRESS)


def _read(pdu: bytes) -> Request:
    _check(len(pdu) == 5)
    kind = _READS[pdu[0]]
    address, count = _word(pdu, 1), _word(pdu, 3)
    _check_range(address, count, kind.limit)
    return kind(address, count)


def _write_one(pdu: bytes) -> Request:
    _check(len(pdu) == 5)
    address, value = _word(pdu, 1), _word(pdu, 3)
    if pdu[0] == WriteRegister.function:
        return WriteRegister(address, value)
    _check(value in (0, 0xFF00))
    return WriteCoil(address, value != 0)


def _write_many(pdu: bytes) -> Request:
    _check(len(pdu) > 6 and len(pdu) == 6 + pdu[5])
    address, count, data = _word(pdu, 1), _word(pdu, 3), pdu[6:]
    if pdu[0] == WriteCoils.function:
        _check_range(address, count, 1968)
        _check(len(data) == (count + 7) // 8)
        return WriteCoils(address, unpack_bits(data, count))
    _check_range(address, count, 123)
    _check(len(data) == 2 * count)
    return WriteRegisters(address, data)


def _identification(pdu: bytes) -> Request:
    _check(len(pdu) >= 2 and pdu[1] == MEI_DEVICE_IDENTIFICATION, ExceptionCode.ILLEGAL_FUNCTION)
    _check(len(pdu) == 4 and 1 <= pdu[2] <= 4)
    return ReadDeviceIdentification(pdu[2], pdu[3])


def encode_answer(answer: Answer) -> bytes:
    """The answer's PDU. Raises ValueError when it would be longer than the 253 bytes of the standard."""
    pdu = _encode(answer)
    if len(pdu) > 253:
        raise ValueError(f"an answer of {len(pdu)} bytes: the standard allows 253")
    return pdu


def _encode(answer: Answer) -> bytes:
    if isinstance(answer, ExceptionAnswer):
        return bytes((answer.function | 0x80, answer.code))
    if isinstance(answer, RegistersAnswer):
        return bytes((answer.function, len(answer.data))) + answer.data
    if isinstance(answer, BitsAnswer):
        data = pack_bits(answer.bits)
        return bytes((answer.function, len(data))) + data
    if isinstance(answer, IdentificationAnswer):
        return _encode_identification(answer)
    last = answer.value if hasattr(answer, "value") else answer.count
    return bytes((answer.function,)) + answer.address.to_bytes(2, "big") + last.to_bytes(2, "big")


def _encode_identification(answer: IdentificationAnswer) -> bytes:
    head = (
        ReadDeviceIdentification.function,
        MEI_DEVICE_IDENTIFICATION,
        answer.code,
        answer.conformity,
        0xFF if answer.more_follows else 0,
        answer.next_object,
        len(answer.objects),
    )
    texts = (bytes((number, len(text))) + text for number, text in answer.objects)
    return bytes(head) + b"".join(texts)
