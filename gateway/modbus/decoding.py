"""The master's reading of an answer, in the light of the request that it belongs to.

RTU carries no transaction number. All that tells one answer from another is function, length and, for
writes, the repeated address; every one of them is checked here. What still fits another request of the same
form can't be told apart by bytes: `line` keeps such answers out by time.
"""

from __future__ import annotations

from gateway.errors import WrongAnswer
from gateway.modbus.answers import (
    Answer,
    BitsAnswer,
    ExceptionAnswer,
    IdentificationAnswer,
    RegistersAnswer,
    WriteAnswer,
    WriteManyAnswer,
)
from gateway.modbus.requests import (
    IDENTIFICATION_HEAD,
    BitsRead,
    ReadDeviceIdentification,
    RegistersRead,
    Request,
    WriteCoil,
    WriteCoils,
    WriteRegister,
    WriteRegisters,
    unpack_bits,
)

__all__ = ["answer_pdu_length", "decode_answer"]


def answer_pdu_length(request: Request, pdu: bytes | bytearray) -> int:
    """How long the answer's PDU is, or at least is, as far as its first bytes `pdu` tell.

    The answer is whole when it has as many bytes as this says. Only function 43/14 grows as it comes.
    """
    if len(pdu) >= 1 and pdu[0] == request.function | 0x80:
        return 2
    known = request.answer_length
    return known if known is not None else _identification_length(pdu)


def _identification_length(pdu: bytes | bytearray) -> int:
    if len(pdu) < IDENTIFICATION_HEAD:
        return IDENTIFICATION_HEAD
    end = IDENTIFICATION_HEAD
    for _ in range(pdu[IDENTIFICATION_HEAD - 1]):
        if len(pdu) < end + 2:
            return end + 2
        end += 2 + pdu[end + 1]
    return end


def decode_answer(request: Request, pdu: bytes) -> Answer:
    """The answer to `request`. Raises WrongAnswer when `pdu` is the answer to something else."""
    function = request.function
    if len(pdu) == 2 and pdu[0] == function | 0x80:
        return ExceptionAnswer(function, pdu[1])
    length = request.answer_length
    if length is None:
        length = _identification_length(pdu)
    if len(pdu) != length or not pdu.startswith(request.answer_head):
        raise _wrong(request, pdu)
    if isinstance(request, RegistersRead):
        return RegistersAnswer(function, pdu[2:])
    if isinstance(request, BitsRead):
        return BitsAnswer(function, unpack_bits(pdu[2:], request.count))
    if isinstance(request, ReadDeviceIdentification):
        return _identification(pdu)
    return _write_answer(request)


def _write_answer(request: WriteCoil | WriteRegister | WriteCoils | WriteRegisters) -> Answer:
    if isinstance(request, WriteCoil):
        return WriteAnswer(request.function, request.address, 0xFF00 if request.value else 0)
    if isinstance(request, WriteRegister):
        return WriteAnswer(request.function, request.address, request.value)
    count = len(request.values) if isinstance(request, WriteCoils) else request.count
    return WriteManyAnswer(request.function, request.address, count)


def _identification(pdu: bytes) -> IdentificationAnswer:
    objects = []
    place = IDENTIFICATION_HEAD
    for _ in range(pdu[IDENTIFICATION_HEAD - 1]):
        end = place + 2 + pdu[place + 1]
        objects.append((pdu[place], pdu[place + 2 : end]))
        place = end
    return IdentificationAnswer(pdu[2], pdu[3], pdu[4] == 0xFF, pdu[5], tuple(objects))


def _wrong(request: Request, pdu: bytes) -> WrongAnswer:
    return WrongAnswer(
        f"An answer to another request came: function {pdu[0] & 0x7F if pdu else 0}, {len(pdu)} bytes, "
        f"where function {request.function} was asked.",
        remedy="Look for a second master on the line, or for a unit that answers later than its map says.",
    )
