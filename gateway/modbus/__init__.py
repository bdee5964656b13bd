"""Modbus RTU frames: bytes to typed messages and back, for the master's side and the unit's.

Pure: no port, no clock, no event loop. Source: Modbus Application Protocol V1.1b3 and Modbus over Serial
Line V1.02. Functions 1, 2, 3, 4, 5, 6, 15, 16 and 43/14.
"""

from __future__ import annotations

from gateway.modbus.answer_framer import AnswerFramer, Heard
from gateway.modbus.answers import (
    Answer,
    BitsAnswer,
    ExceptionAnswer,
    IdentificationAnswer,
    RegistersAnswer,
    WriteAnswer,
    WriteManyAnswer,
)
from gateway.modbus.crc import crc16
from gateway.modbus.decoding import answer_pdu_length, decode_answer
from gateway.modbus.exceptions import ExceptionCode, RequestFault, exception_name
from gateway.modbus.frames import LONGEST_FRAME, RequestFramer, frame
from gateway.modbus.requests import (
    BitsRead,
    ReadCoils,
    ReadDeviceIdentification,
    ReadDiscreteInputs,
    ReadHoldingRegisters,
    ReadInputRegisters,
    RegistersRead,
    Request,
    WriteCoil,
    WriteCoils,
    WriteRegister,
    WriteRegisters,
)
from gateway.modbus.serving import decode_request, encode_answer

__all__ = [
    "LONGEST_FRAME",
    "Answer",
    "AnswerFramer",
    "BitsAnswer",
    "BitsRead",
    "ExceptionAnswer",
    "ExceptionCode",
    "Heard",
    "IdentificationAnswer",
    "ReadCoils",
    "ReadDeviceIdentification",
    "ReadDiscreteInputs",
    "ReadHoldingRegisters",
    "ReadInputRegisters",
    "RegistersAnswer",
    "RegistersRead",
    "Request",
    "RequestFault",
    "RequestFramer",
    "WriteAnswer",
    "WriteCoil",
    "WriteCoils",
    "WriteManyAnswer",
    "WriteRegister",
    "WriteRegisters",
    "answer_pdu_length",
    "crc16",
    "decode_answer",
    "decode_request",
    "encode_answer",
    "exception_name",
    "frame",
]
