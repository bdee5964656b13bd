"""What other rooms may use of `gateway.modbus` and `gateway.line`, pinned."""

from __future__ import annotations

import gateway.line
from gateway import modbus


def test_the_public_names_of_modbus() -> None:
    """A name that leaves or enters is a decision, not an accident."""
    assert set(modbus.__all__) == {
        *("crc16", "frame", "RequestFramer", "AnswerFramer", "Heard", "LONGEST_FRAME"),
        *("ReadCoils", "ReadDiscreteInputs", "ReadHoldingRegisters", "ReadInputRegisters"),
        *("WriteCoil", "WriteRegister", "WriteCoils", "WriteRegisters", "ReadDeviceIdentification"),
        *("Request", "BitsRead", "RegistersRead", "decode_request", "RequestFault"),
        *("Answer", "BitsAnswer", "RegistersAnswer", "WriteAnswer", "WriteManyAnswer"),
        *("IdentificationAnswer", "ExceptionAnswer", "encode_answer", "decode_answer", "answer_pdu_length"),
        *("ExceptionCode", "exception_name"),
    }
    assert all(hasattr(modbus, name) for name in modbus.__all__)


def test_the_public_names_of_the_line() -> None:
    """The line, what it takes and what it tells."""
    names = {
        "ANSWER_BOUNDS_S",
        "Line",
        "HeldLine",
        "LineConfig",
        "LineState",
        "LineStateKind",
        "LineCounters",
        "Timing",
    }
    assert set(gateway.line.__all__) == names
