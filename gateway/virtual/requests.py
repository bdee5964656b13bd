"""One Modbus request to a virtual receiver, and its answer or exception.

The order of checks binds (docs/register-map.md, "Requests"): function, form, address, busy, lock, and then the
rule of the block itself.
"""

from __future__ import annotations

from gateway.domain.receiver import Origin
from gateway.maps import Block, Role, Table
from gateway.modbus import (
    Answer,
    ExceptionAnswer,
    ExceptionCode,
    ReadCoils,
    ReadDeviceIdentification,
    ReadDiscreteInputs,
    ReadHoldingRegisters,
    ReadInputRegisters,
    RegistersAnswer,
    Request,
    RequestFault,
    WriteAnswer,
    WriteCoil,
    WriteCoils,
    WriteManyAnswer,
    WriteRegister,
    WriteRegisters,
    decode_request,
    encode_answer,
)
from gateway.virtual.faults import AnswerFaults
from gateway.virtual.identification import identify
from gateway.virtual.receiver import VirtualReceiver
from gateway.virtual.refusals import Refusal
from gateway.virtual.registers import Read, block_at, read_block
from gateway.virtual.running import Running
from gateway.virtual.unit import Reply
from gateway.virtual.writes import MEMORY_ROLES, PowerCut, Write, write_block

__all__ = ["ReceiverUnit"]

_NOT_RENEWING = frozenset({Role.STATUS, Role.IDENTITY, Role.RING, Role.SLOT_VOLATILE, Role.LOCK, Role.UNLOCK})


class ReceiverUnit:
    """A virtual receiver at an address."""

    def __init__(self, receiver: VirtualReceiver) -> None:
        self.receiver = receiver
        self.faults = AnswerFaults()

    @property
    def start_mark(self) -> int:
        """The boot count; 0 without power."""
        return self.receiver.memory.boot_count if self.receiver.running else 0

    def answer(self, pdu: bytes, now: float) -> Reply | None:
        """Serve one request. `now` is monotonic seconds."""
        running = self.receiver.elapse(now)
        if running is None or not pdu:
            return None
        injected = self.faults.take_exception()
        if injected:
            return _exception(pdu, injected)
        try:
            return self._serve(running, decode_request(pdu), now)
        except RequestFault as fault:
            return _exception(pdu, fault.exception_code)
        except Refusal as refusal:
            running.refuse(refusal.reason, Origin.LINE, now)
            return _exception(pdu, refusal.exception_code)
        except PowerCut:
            self.faults.power_cut_after = None
            self.receiver.power_off(now, now + self.faults.power_cut_s)
            return None

    def _serve(self, running: Running, request: Request, now: float) -> Reply:
        if isinstance(request, ReadDeviceIdentification):
            if not self.receiver.map.device_identification:
                raise RequestFault(ExceptionCode.ILLEGAL_FUNCTION)
            return _reply(identify(self.receiver.identity, request))
        if isinstance(request, ReadCoils | ReadDiscreteInputs | WriteCoil | WriteCoils):
            raise RequestFault(ExceptionCode.ILLEGAL_FUNCTION)
        if isinstance(request, ReadHoldingRegisters | ReadInputRegisters):
            return self._read(running, request, now)
        return self._write(running, request, now)

    def _read(self, running: Running, request: ReadHoldingRegisters | ReadInputRegisters, now: float) -> Reply:
        table = Table.HOLDING if isinstance(request, ReadHoldingRegisters) else Table.INPUT
        block = self._block(table, request.address, request.count)
        if not block.readable:
            raise RequestFault(ExceptionCode.ILLEGAL_DATA_ADDRESS)
        _admit(running, block, now)
        place = request.address - block.address
        data = read_block(Read(self.receiver, running, block, place, request.count, now))
        return _reply(RegistersAnswer(request.function, data))

    def _write(self, running: Running, request: WriteRegister | WriteRegisters, now: float) -> Reply:
        one = isinstance(request, WriteRegister)
        data = request.value.to_bytes(2, "big") if isinstance(request, WriteRegister) else request.data
        block = self._block(Table.HOLDING, request.address, len(data) // 2)
        _admit(running, block, now)
        cut_after = self.faults.power_cut_after if block.role is Role.SLOT_WRITE else None
        write_block(self.receiver, running, Write(block, request.address - block.address, data, now, cut_after))
        work_s = self.faults.take_slow_write() if block.role in MEMORY_ROLES else 0.0
        running.busy_until = now + work_s
        if one:
            return _reply(WriteAnswer(request.function, request.address, int.from_bytes(data, "big")), work_s)
        return _reply(WriteManyAnswer(request.function, request.address, len(data) // 2), work_s)

    def _block(self, table: Table, address: int, count: int) -> Block:
        block = block_at(self.receiver.map, table, address, count)
        slots = self.receiver.limits.slots
        if block is None or (
            block.role in (Role.SLOTS, Role.SLOT_VOLATILE) and address + count > block.address + slots * block.count
        ):
            raise RequestFault(ExceptionCode.ILLEGAL_DATA_ADDRESS)
        return block


def _admit(running: Running, block: Block, now: float) -> None:
    """Let a request through to its block, or raise Refusal; a configuration request renews the unlocked time."""
    if block.role in (Role.STATUS, Role.IDENTITY):
        return
    if now < running.busy_until:
        raise Refusal("memory-busy", ExceptionCode.DEVICE_BUSY)
    if not block.open and running.lock.is_locked(now):
        raise Refusal("locked")
    if block.role not in _NOT_RENEWING:
        running.lock.renew(now)


def _reply(answer: Answer, work_s: float = 0.0) -> Reply:
    return Reply(encode_answer(answer), work_s)


def _exception(pdu: bytes, code: int) -> Reply:
    return Reply(encode_answer(ExceptionAnswer(pdu[0] & 0x7F, code)))
