"""The standards' own examples, both directions (`tests/vectors/SOURCES.md` names the documents)."""

from __future__ import annotations

import pytest

from gateway import modbus
from tests.unit.modbus.vectors import EXCHANGES, FRAMES, VECTORS, unhex

NAMES = [exchange["name"] for exchange in VECTORS["exchange"]]


@pytest.mark.parametrize("vector", VECTORS["crc"], ids=lambda vector: vector["data"])
def test_crc_of_the_published_check_words(vector: dict[str, object]) -> None:
    """RevEng catalogue and Modbus over Serial Line V1.02, 6.2.2."""
    assert modbus.crc16(unhex(str(vector["data"]))) == vector["value"]


@pytest.mark.parametrize("whole", FRAMES, ids=lambda whole: whole.hex())
def test_frames_of_the_examples(whole: bytes) -> None:
    """A frame is address, PDU and CRC, low byte first; over the whole the CRC is zero."""
    assert modbus.frame(whole[0], whole[1:-2]) == whole
    assert modbus.crc16(whole) == 0


@pytest.mark.parametrize(("request_pdu", "answer_pdu"), EXCHANGES, ids=NAMES)
def test_examples_read_and_written_by_both_sides(request_pdu: bytes, answer_pdu: bytes) -> None:
    """The unit reads the request as the master wrote it; the master reads the answer as the unit wrote it."""
    request = modbus.decode_request(request_pdu)
    assert request.encode() == request_pdu
    answer = modbus.decode_answer(request, answer_pdu)
    assert modbus.encode_answer(answer) == answer_pdu


def test_what_the_examples_mean() -> None:
    """Modbus Application Protocol V1.1b3, 6.1, 6.3, 6.5, 6.12, 6.21 and 7, in values."""
    by_name = dict(zip(NAMES, EXCHANGES, strict=True))

    def answer(name: str) -> modbus.Answer:
        request_pdu, answer_pdu = by_name[name]
        return modbus.decode_answer(modbus.decode_request(request_pdu), answer_pdu)

    coils = answer("read coils 20 to 38")
    assert isinstance(coils, modbus.BitsAnswer)
    assert len(coils.bits) == 19
    assert coils.bits[:8] == (True, False, True, True, False, False, True, True)  # CD: 27 to 20 are 11001101
    registers = answer("read holding registers 108 to 110")
    assert isinstance(registers, modbus.RegistersAnswer)
    assert registers.registers == (555, 0, 100)
    assert answer("write coil 173 on") == modbus.WriteAnswer(5, 172, 0xFF00)
    assert answer("write registers 2 and 3") == modbus.WriteManyAnswer(16, 1, 2)
    assert answer("illegal data address") == modbus.ExceptionAnswer(1, modbus.ExceptionCode.ILLEGAL_DATA_ADDRESS)
    identification = answer("read device identification, basic")
    assert isinstance(identification, modbus.IdentificationAnswer)
    assert identification.objects == (
        (0, b"Company identification"),
        (1, b"Product code XX"),
        (2, b"V2.11"),
    )
    assert not identification.more_follows
