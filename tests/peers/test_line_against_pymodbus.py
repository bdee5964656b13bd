"""The line against an independent unit: pymodbus's serial server on the other end of a pair of pseudo-terminals."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from pymodbus.pdu.device import ModbusDeviceIdentification
from pymodbus.server import ModbusSerialServer
from pymodbus.simulator import DataType, SimData, SimDevice

from gateway import modbus
from gateway.clock import SystemClock
from gateway.domain.urgency import Urgency
from gateway.errors import ReceiverException
from gateway.line import Line, LineConfig
from tests.peers.conftest import RequireProgram

ANSWER_TIME_S = 1.0


@pytest.fixture
async def line(tmp_path: Path, require_program: RequireProgram) -> AsyncIterator[Line]:
    """A line whose unit 1 is pymodbus: coils, inputs, and two kinds of registers, each block 200 long."""
    ours, theirs = tmp_path / "ours", tmp_path / "theirs"
    ends = [f"pty,raw,echo=0,link={end}" for end in (ours, theirs)]
    cable = await asyncio.create_subprocess_exec(require_program("socat", "socat"), *ends)
    async with asyncio.timeout(10):
        while not (ours.exists() and theirs.exists()):  # the file system has no event
            await asyncio.sleep(0.01)
    server = ModbusSerialServer(
        _device(),
        identity=_identity(),
        port=str(theirs),
        baudrate=115200,
        parity="N",
    )
    await server.serve_forever(background=True)
    line = Line(LineConfig("quay", str(ours), baud=115200), SystemClock())
    owner = asyncio.ensure_future(line.run())
    await line.wait_open()
    yield line
    owner.cancel()
    await asyncio.gather(owner, return_exceptions=True)
    await server.shutdown()  # type: ignore[no-untyped-call]  # pymodbus leaves it untyped
    cable.terminate()
    await cable.wait()


def _identity() -> ModbusDeviceIdentification:
    names = {"VendorName": "Fennel Quay", "ProductCode": "slip gate"}
    return ModbusDeviceIdentification(info_name=names)  # type: ignore[no-untyped-call]  # as above


def _device() -> SimDevice:
    bits = [SimData(address=0, count=200, values=False, datatype=DataType.BITS)]
    inputs = [SimData(address=0, count=200, values=True, datatype=DataType.BITS)]
    holding = [SimData(address=0, count=200, values=7, datatype=DataType.REGISTERS)]
    reading = [SimData(address=0, count=200, values=9, datatype=DataType.REGISTERS)]
    return SimDevice(id=1, simdata=(bits, inputs, holding, reading))


async def ask(line: Line, request: modbus.Request) -> modbus.Answer:
    """One transaction with unit 1."""
    return await line.transact(1, request, urgency=Urgency.CONTROL, answer_time_s=ANSWER_TIME_S)


async def test_registers_both_kinds_and_both_writes(line: Line) -> None:
    """Functions 3, 4, 6 and 16; what is written is read back."""
    assert await ask(line, modbus.ReadInputRegisters(0, 3)) == modbus.RegistersAnswer(4, b"\0\x09" * 3)
    assert await ask(line, modbus.WriteRegister(11, 0x1234)) == modbus.WriteAnswer(6, 11, 0x1234)
    data = bytes(range(1, 247))
    assert await ask(line, modbus.WriteRegisters(20, data)) == modbus.WriteManyAnswer(16, 20, 123)
    assert await ask(line, modbus.ReadHoldingRegisters(10, 3)) == modbus.RegistersAnswer(3, b"\0\x07\x124\0\x07")
    assert await ask(line, modbus.ReadHoldingRegisters(20, 123)) == modbus.RegistersAnswer(3, data)


async def test_bits_both_kinds_and_both_writes(line: Line) -> None:
    """Functions 1, 2, 5 and 15."""
    inputs = await ask(line, modbus.ReadDiscreteInputs(3, 10))
    assert inputs == modbus.BitsAnswer(2, (True,) * 10)
    assert await ask(line, modbus.WriteCoil(4, True)) == modbus.WriteAnswer(5, 4, 0xFF00)
    pattern = (True, False, True, True, False, False, False, True, True, False)
    assert await ask(line, modbus.WriteCoils(16, pattern)) == modbus.WriteManyAnswer(15, 16, 10)
    assert await ask(line, modbus.ReadCoils(16, 10)) == modbus.BitsAnswer(1, pattern)
    coils = await ask(line, modbus.ReadCoils(0, 8))
    assert coils == modbus.BitsAnswer(1, (False,) * 4 + (True,) + (False,) * 3)


async def test_device_identification(line: Line) -> None:
    """Function 43/14, whose length is known only as it comes."""
    answer = await ask(line, modbus.ReadDeviceIdentification(1, 0))
    assert isinstance(answer, modbus.IdentificationAnswer)
    objects = dict(answer.objects)
    assert objects[0] == b"Fennel Quay"
    assert objects[1] == b"slip gate"


async def test_a_refusal_is_typed(line: Line) -> None:
    """Exception 02 for an address that isn't there, told well before the answer time is over."""
    async with asyncio.timeout(ANSWER_TIME_S / 2):
        with pytest.raises(ReceiverException) as fault:
            await ask(line, modbus.ReadHoldingRegisters(1000, 8))
    assert fault.value.exception == modbus.ExceptionCode.ILLEGAL_DATA_ADDRESS


async def test_five_hundred_polls_without_a_single_retry(line: Line) -> None:
    """Everyday traffic leaves nothing in the fault counters."""
    for _ in range(500):
        await ask(line, modbus.ReadHoldingRegisters(0, 8))
    counters = line.counters
    assert (counters.frames_sent, counters.answers) == (500, 500)
    assert (counters.retries, counters.damaged, counters.stray_bytes) == (0, 0, 0)
