"""A virtual relay and input board: the map's bit tables and nothing else.

Serves any map whose status blocks are coils and discrete inputs with fields `inputs` and `outputs`, and
whose other blocks don't exist. Writing follows the map: a block that is not writable there answers exception 02.
"""

from __future__ import annotations

from gateway.maps import Block, ReceiverMap, Table
from gateway.modbus import (
    Answer,
    BitsAnswer,
    ExceptionAnswer,
    ExceptionCode,
    ReadCoils,
    ReadDiscreteInputs,
    Request,
    RequestFault,
    WriteAnswer,
    WriteCoil,
    WriteCoils,
    WriteManyAnswer,
    decode_request,
    encode_answer,
)
from gateway.virtual.faults import AnswerFaults
from gateway.virtual.registers import block_at
from gateway.virtual.unit import Reply

__all__ = ["PlainUnit"]


class PlainUnit:
    """Relays and contacts at an address. `outputs` True means closed, `inputs` True violated."""

    def __init__(self, the_map: ReceiverMap) -> None:
        self.map = the_map
        self.faults = AnswerFaults()
        self.powered = True
        self.inputs = [False] * the_map.limits.inputs
        self.outputs = [False] * the_map.limits.outputs

    @property
    def start_mark(self) -> int:
        """1 under power, 0 without."""
        return int(self.powered)

    def answer(self, pdu: bytes, now: float) -> Reply | None:
        """Serve one request."""
        if not self.powered or not pdu:
            return None
        code = self.faults.take_exception()
        if not code:
            try:
                return Reply(encode_answer(self._serve(decode_request(pdu))))
            except RequestFault as fault:
                code = fault.exception_code
        return Reply(encode_answer(ExceptionAnswer(pdu[0] & 0x7F, code)))

    def _serve(self, request: Request) -> Answer:
        if isinstance(request, ReadCoils | ReadDiscreteInputs):
            table = Table.COIL if isinstance(request, ReadCoils) else Table.DISCRETE
            block = self._block(table, request.address, request.count)
            start = request.address - block.address
            return BitsAnswer(request.function, self._bits(block)[start : start + request.count])
        if isinstance(request, WriteCoil):
            self._write(request.address, (request.value,))
            return WriteAnswer(request.function, request.address, 0xFF00 if request.value else 0)
        if isinstance(request, WriteCoils):
            self._write(request.address, request.values)
            return WriteManyAnswer(request.function, request.address, len(request.values))
        raise RequestFault(ExceptionCode.ILLEGAL_FUNCTION)

    def _block(self, table: Table, address: int, count: int) -> Block:
        block = block_at(self.map, table, address, count)
        if block is None or not block.readable:
            raise RequestFault(ExceptionCode.ILLEGAL_DATA_ADDRESS)
        return block

    def _bits(self, block: Block) -> tuple[bool, ...]:
        bits = [False] * block.count
        for name, field in block.fields.items():
            states = {"inputs": self.inputs, "outputs": self.outputs}.get(name, [])
            for place, state in enumerate(states[: field.count]):
                bits[field.start_bit + place] = state
        return tuple(bits)

    def _write(self, address: int, values: tuple[bool, ...]) -> None:
        block = self._block(Table.COIL, address, len(values))
        if not block.writable or "outputs" not in block.fields:
            raise RequestFault(ExceptionCode.ILLEGAL_DATA_ADDRESS)
        start = address - block.address - block.fields["outputs"].start_bit
        for place, value in enumerate(values, start):
            if 0 <= place < len(self.outputs):
                self.outputs[place] = value
