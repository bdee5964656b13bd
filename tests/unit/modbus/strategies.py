"""Any request, and any answer that fits it, for Hypothesis."""

from __future__ import annotations

from hypothesis import settings
from hypothesis import strategies as st

from gateway import modbus

__all__ = ["answers_to", "exchanges", "patient", "requests"]

patient = settings(deadline=None)  # a busy machine is no fault of ours


def _reads(kind: type[modbus.Request], limit: int) -> st.SearchStrategy[modbus.Request]:
    counts = st.integers(1, limit)
    return counts.flatmap(lambda n: st.builds(kind, st.integers(0, 0x10000 - n), st.just(n)))


def _register_writes() -> st.SearchStrategy[modbus.Request]:
    counts = st.integers(1, 123)
    return counts.flatmap(
        lambda n: st.builds(
            modbus.WriteRegisters, st.integers(0, 0x10000 - n), st.binary(min_size=2 * n, max_size=2 * n)
        )
    )


def _coil_writes() -> st.SearchStrategy[modbus.Request]:
    counts = st.integers(1, 1968)
    bits = counts.flatmap(lambda n: st.integers(0, 2**n - 1).map(lambda v: tuple(bool(v >> i & 1) for i in range(n))))
    return bits.flatmap(
        lambda values: st.builds(modbus.WriteCoils, st.integers(0, 0x10000 - len(values)), st.just(values))
    )


requests: st.SearchStrategy[modbus.Request] = st.one_of(
    _reads(modbus.ReadCoils, 2000),
    _reads(modbus.ReadDiscreteInputs, 2000),
    _reads(modbus.ReadHoldingRegisters, 125),
    _reads(modbus.ReadInputRegisters, 125),
    st.builds(modbus.WriteCoil, st.integers(0, 0xFFFF), st.booleans()),
    st.builds(modbus.WriteRegister, st.integers(0, 0xFFFF), st.integers(0, 0xFFFF)),
    _coil_writes(),
    _register_writes(),
    st.builds(modbus.ReadDeviceIdentification, st.integers(1, 4), st.integers(0, 0xFF)),
)


def answers_to(request: modbus.Request) -> st.SearchStrategy[modbus.Answer]:
    """Normal answers and exceptions."""
    refusals = st.builds(modbus.ExceptionAnswer, st.just(request.function), st.integers(1, 0xFF))
    return st.one_of(_normal(request), refusals)


def _normal(request: modbus.Request) -> st.SearchStrategy[modbus.Answer]:
    if isinstance(request, modbus.RegistersRead):
        size = 2 * request.count
        return st.builds(modbus.RegistersAnswer, st.just(request.function), st.binary(min_size=size, max_size=size))
    if isinstance(request, modbus.BitsRead):
        count = request.count
        bits = st.integers(0, 2**count - 1).map(lambda v: tuple(bool(v >> i & 1) for i in range(count)))
        return st.builds(modbus.BitsAnswer, st.just(request.function), bits)
    if isinstance(request, modbus.ReadDeviceIdentification):
        objects = st.lists(st.tuples(st.integers(0, 0xFF), st.binary(max_size=40)), max_size=5).map(tuple)
        return st.builds(
            modbus.IdentificationAnswer,
            st.just(request.code),
            st.integers(0, 0xFF),
            st.booleans(),
            st.integers(0, 0xFF),
            objects,
        )
    return st.just(_echo(request))


def _echo(
    request: modbus.WriteCoil | modbus.WriteRegister | modbus.WriteCoils | modbus.WriteRegisters,
) -> modbus.Answer:
    if isinstance(request, modbus.WriteCoil):
        return modbus.WriteAnswer(5, request.address, 0xFF00 if request.value else 0)
    if isinstance(request, modbus.WriteRegister):
        return modbus.WriteAnswer(6, request.address, request.value)
    if isinstance(request, modbus.WriteCoils):
        return modbus.WriteManyAnswer(15, request.address, len(request.values))
    return modbus.WriteManyAnswer(16, request.address, request.count)


exchanges = requests.flatmap(lambda request: st.tuples(st.just(request), answers_to(request)))
