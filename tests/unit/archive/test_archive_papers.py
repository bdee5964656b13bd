"""Papers: what is said of receivers, gates and people, and what is left out."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from zoneinfo import ZoneInfo

import pytest

from gateway.archive.papers import PaperDesk, SiteFacts
from gateway.domain.gate import Contact, Gate, GatePosition, GateState, InputRole
from gateway.domain.live import LinkState
from gateway.domain.mirror import Mirror
from gateway.domain.person import Person, Place, PlaceState
from gateway.domain.receiver import Identity, Limits, OutputMode, ReceiverSettings, Slot, Status
from gateway.errors import NotFound
from gateway.ports import ReceiverFacts
from tests.fakes.clock import FakeClock
from tests.fakes.gates import FakeGates
from tests.fakes.memory_store import MemoryStore
from tests.fakes.people import FakePeople, some_person
from tests.fakes.use_cases import FakeLive, FakeRevocations, FakeRosterDesk, FakeTrust, online

CLOSED = Contact("slip-gate", 1, InputRole.CLOSED, "gate closed", "slip-gate")
GATE = Gate("slip-gate", "Slip gate", "slip-gate", outputs=(1,), contacts=(CLOSED,), service_cycles=50_000)
FACTS = ReceiverFacts("slip-gate", {1: "gate", 2: "lamp"}, 8, {1: "gate closed"})
IDENTITY = Identity("Example", "Reference receiver", "1.0", "V-0001", "reference", 1)


def works(position: str, *outputs: int, state: PlaceState = PlaceState.WORKS, receiver: str = "slip-gate") -> Place:
    names = tuple(FACTS.outputs.get(output, str(output)) for output in outputs)
    return Place(receiver, position, outputs, names, state, f"Position {position} works it.")


def person(serial: int, holder: str, *places: Place) -> Person:
    (card,) = some_person(serial, holder).cards
    return Person(holder, (replace(card, places=places, valid_until=date(2026, 10, 31)),))


class Bench:
    """A site with one receiver and one gate."""

    def __init__(self, *people: Person) -> None:
        self.clock = FakeClock()
        self.memory = MemoryStore(self.clock)
        self.trust = FakeTrust()
        self.live = FakeLive(replace(online("slip-gate"), identity=IDENTITY))
        self.revocations = FakeRevocations(("slip-gate",))
        self.desk = PaperDesk(
            SiteFacts("fennel-quay", ZoneInfo("Europe/London"), (FACTS,), (CLOSED,)),
            people=FakePeople(*people),
            live=self.live,
            mirrors=self.memory.mirrors,
            gates=FakeGates(GateState(GATE, GatePosition.SHUT, None, "Slip gate is shut.", cycles=7)),
            roster=FakeRosterDesk(),
            revocations=self.revocations,
            clock=self.clock,
            trust=self.trust,
        )

    def hold(self, *, revision: int = 412, mode: OutputMode = OutputMode.TIMED) -> None:
        """The receiver was read at this revision; its second output is in another mode."""
        settings = ReceiverSettings((5, 30), local_programming=False, password_set=True)
        slots = {1: Slot(1, 48231907, 0, (frozenset({1}),))}
        self.memory.mirrors.kept["slip-gate"] = Mirror(
            "slip-gate", IDENTITY, Limits(2, 2, 1024), 412, slots, settings=settings
        )
        status = Status((False, False), (False, False), (OutputMode.TIMED, mode), revision=revision)
        self.live.kept["slip-gate"] = replace(self.live.kept["slip-gate"], status=status)


async def test_an_access_list_has_those_who_work_this_gate_and_nobody_else() -> None:
    """By position and by the gate's own outputs; what is still to be taken out is said, not hidden."""
    bench = Bench(
        person(1, "Berth 12", works("1", 1), works("2", 2)),
        person(2, "Berth 13", works("2", 2)),
        person(3, "Berth 14", works("1", 1, receiver="car-park")),
        person(4, "Barge crew", works("1", 1, 2), works("3", 1, state=PlaceState.GOING)),
    )
    paper = await bench.desk.access("slip-gate")
    assert [(row.holder, row.positions, row.outputs) for row in paper.rows] == [
        ("Berth 12", ("1",), ("gate",)),
        ("Barge crew", ("1", "3"), ("gate",)),
    ]
    assert [row.state for row in paper.rows] == ["works, proven", "works, proven; still works; to be taken out"]
    assert paper.rows[0].valid_until == "2026-10-31"
    with pytest.raises(NotFound):
        await bench.desk.access("barn-door")


async def test_names_can_be_left_out() -> None:
    """Serials stay, so that a list can be compared without saying who they are."""
    bench = Bench(person(48231907, "Berth 12", works("1", 1)))
    await bench.revocations.revoke(7, asked_by="installer", reason="Berth 12 lost it")
    bench.revocations.proven.add((7, "slip-gate"))
    paper = await bench.desk.handover(named=False)
    rows = (await bench.desk.access("slip-gate", named=False)).rows
    assert [(row.holder, row.serial) for row in paper.transmitters] == [("", "0048231907")]
    assert [(row.holder, row.serial) for row in rows] == [("", "0048231907")]
    assert [(row.serial, row.reason, row.proven) for row in paper.revoked] == [("0000000007", "", True)]


async def test_a_receiver_is_described_as_it_was_read() -> None:
    """Identity, modes, on-times, protection, roles; proven only while its revision is that of the mirror."""
    bench = Bench()
    bench.hold()
    (receiver,) = (await bench.desk.handover()).receivers
    assert (receiver.maker, receiver.serial, receiver.slots_used, receiver.slots) == ("Example", "V-0001", 1, 1024)
    assert (receiver.local_programming, receiver.password_set) == (False, True)
    assert receiver.proven == "Read and proven at revision 412."
    assert [(row.name, row.mode, row.on_time_s) for row in receiver.outputs] == [
        ("gate", "timed", 5), ("lamp", "timed", 30),
    ]  # fmt: skip
    assert [(row.number, row.name, row.role) for row in receiver.inputs] == [(1, "gate closed", "closed"), (2, "", "")]
    bench.hold(revision=413)
    (receiver,) = (await bench.desk.handover()).receivers
    assert receiver.proven == "Last read at revision 412; what it holds now is not known."


async def test_what_was_never_read_is_said_to_be_unknown() -> None:
    """No mirror, no answer: nothing is invented, and the outputs are those that the settings name."""
    bench = Bench()
    bench.live.kept["slip-gate"] = replace(
        bench.live.kept["slip-gate"], link=LinkState.SILENT, identity=None, status=None, problem="It does not answer."
    )
    (receiver,) = (await bench.desk.handover()).receivers
    assert (receiver.link, receiver.proven) == ("It does not answer.", "Its memory was never read.")
    assert (receiver.slots_used, receiver.local_programming, receiver.maker) == (None, None, "")
    assert [(row.name, row.mode, row.on_time_s) for row in receiver.outputs] == [("gate", "", None), ("lamp", "", None)]


async def test_a_clock_that_may_be_wrong_is_told() -> None:
    """A date on a paper is only as good as the clock."""
    bench = Bench()
    assert (await bench.desk.handover()).heading.clock_trusted
    bench.trust.trusted = False
    assert not (await bench.desk.handover()).heading.clock_trusted
