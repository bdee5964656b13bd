"""What a unit that owes an answer is asked first."""

from __future__ import annotations

import pytest

from gateway import modbus
from gateway.line.trust import Trust

STATUS = modbus.ReadInputRegisters(0, 20)
SHORT = modbus.ReadInputRegisters(0, 2)


def probe(trust: Trust, address: int = 1) -> modbus.Request | None:
    """The request of the probe."""
    found = trust.probe(address)
    return None if found is None else found.request


def test_a_unit_that_owes_nothing_is_not_probed() -> None:
    """Before any time-out, and after an answer of another form."""
    trust = Trust()
    assert trust.probe(1) is None
    trust.owes(1, STATUS, 0.02)
    assert trust.probe(1) is not None
    assert trust.probe(2) is None
    trust.settled(1)
    assert trust.probe(1) is None


def test_set_probes_alternate() -> None:
    """Whichever differs from what is owed; when the probe itself times out, the other."""
    trust = Trust()
    trust.set_probe(1, (STATUS, SHORT), 0.02)
    trust.owes(1, modbus.ReadInputRegisters(500, 20), 0.02)  # same form as STATUS
    assert probe(trust) == SHORT
    trust.owes(1, SHORT, 0.02)
    assert probe(trust) == STATUS
    trust.owes(1, modbus.WriteRegister(1, 1), 0.2)
    assert probe(trust) == STATUS


def test_probes_of_one_form_are_a_mistake() -> None:
    """Their answers could not be told apart."""
    with pytest.raises(ValueError, match="different"):
        Trust().set_probe(1, (modbus.ReadCoils(0, 3), modbus.ReadCoils(8, 8)), 0.02)


def test_reads_that_were_answered_serve_as_probes() -> None:
    """A plain board that knows only discrete inputs is asked for those."""
    trust = Trust()
    inputs = modbus.ReadDiscreteInputs(0, 8)
    trust.answered(1, inputs, 0.02)
    trust.owes(1, modbus.WriteCoil(0, True), 0.02)
    assert probe(trust) == inputs


@pytest.mark.parametrize(
    ("owed", "asked"),
    [
        (modbus.ReadHoldingRegisters(5, 8), modbus.ReadHoldingRegisters(5, 7)),
        (modbus.ReadHoldingRegisters(5, 1), modbus.ReadHoldingRegisters(5, 2)),
        (modbus.ReadCoils(0, 8), modbus.ReadCoils(0, 16)),
        (modbus.WriteCoil(0, True), modbus.ReadHoldingRegisters(0, 1)),
        (modbus.ReadDeviceIdentification(), modbus.ReadHoldingRegisters(0, 1)),
    ],
)
def test_without_anything_known_the_owed_read_is_varied(owed: modbus.Request, asked: modbus.Request) -> None:
    """What a unit can be asked at all, it can most likely be asked in another length."""
    trust = Trust()
    trust.owes(1, owed, 0.02)
    assert probe(trust) == asked
