"""Batteries of the transmitters that were just heard."""

from __future__ import annotations

import pytest

from gateway.domain.receiver import Battery, BoardEvent, Capability, Origin, RingEntry, RingPlace
from gateway.errors import GatepostError, NoAnswer, ReceiverRefused
from gateway.watch.batteries import batteries_of
from tests.fakes.receiver import EVERYTHING, FakeReceiver

ALL = EVERYTHING | {Capability.BATTERY}


def press(number: int, slot: int, kind: BoardEvent = BoardEvent.PRESS) -> RingEntry:
    return RingEntry(RingPlace(1, number), float(number), kind, Origin.RADIO, 100 + slot if slot else 7, slot, 1)


async def test_each_transmitter_is_read_once_and_the_newest_count() -> None:
    """A press of slots 1 to 6, slot 6 twice: four are read, by serial. Strangers and other entries have no record."""
    receiver = FakeReceiver(capabilities=ALL)
    receiver.batteries = {5: Battery.LOW, 6: Battery.GOOD}
    entries = [*(press(n, n) for n in range(1, 7)), press(7, 6), press(8, 0), press(9, 1, BoardEvent.OUTPUT)]
    found = await batteries_of(receiver, entries)
    assert found == {103: Battery.UNKNOWN, 104: Battery.UNKNOWN, 105: Battery.LOW, 106: Battery.GOOD}
    assert receiver.frames_of["read_batteries"] == 1


async def test_nothing_is_asked_without_need() -> None:
    """No press of a known transmitter, or a map without the record: no frame."""
    receiver, plain = FakeReceiver(capabilities=ALL), FakeReceiver()
    assert await batteries_of(receiver, [press(1, 0)]) == {}
    assert await batteries_of(plain, [press(1, 1)]) == {}
    assert receiver.frames == plain.frames == 0


@pytest.mark.parametrize("fault", [NoAnswer("It is silent."), ReceiverRefused("It stays locked.", code="locked")])
async def test_a_record_that_cannot_be_read_costs_no_event(fault: GatepostError) -> None:
    """The press is told all the same."""
    receiver = FakeReceiver(capabilities=ALL)
    receiver.fail(fault)
    assert await batteries_of(receiver, [press(1, 1)]) == {}
