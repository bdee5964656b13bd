"""Calling outputs otherwise: in force everywhere at once, durable first, and nobody's rights change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from zoneinfo import ZoneInfo

import pytest

from gateway.domain.events import EventName
from gateway.domain.output_names import CalledOutput, OutputNaming
from gateway.domain.roster import Right, Roster
from gateway.errors import NotFound, Refused, StoreUnavailable
from gateway.ports import NamedOutput, ReceiverFacts, rights_now
from gateway.sync.naming import NamesNow
from gateway.sync.naming_desk import NamingDesk
from gateway.sync.site import Site
from tests.fakes.clock import FakeClock
from tests.fakes.memory_store import MemoryStore
from tests.fakes.naming import MemoryNamings
from tests.fakes.receiver import FakeReceiver
from tests.fakes.sync_house import Rosters, entry, roster

FILE: Mapping[str, Mapping[int, str]] = {"slip-gate": {1: "gate", 2: "boat-hoist"}, "car-park": {1: "barrier"}}


class Bench:
    """The desk over a store in memory; `facts` are what every other room has had since the start."""

    def __init__(self) -> None:
        self.names = NamesNow(FILE)
        self.facts = {
            name: ReceiverFacts(name, self.names.outputs(name), output_limit=4, also=self.names.also(name))
            for name in FILE
        }
        self.store = MemoryStore(FakeClock())
        self.ledger = MemoryNamings()
        self.rosters = Rosters()
        self.desk = NamingDesk(
            site=Site("fennel-quay", ZoneInfo("UTC"), {name: FakeReceiver(name) for name in FILE}, self.facts),
            names=self.names,
            counts=lambda _: 4,
            ledger=self.ledger,
            journal=self.store.journal,
            rosters=self.rosters,
        )

    async def call(self, wanted: Mapping[int, str], receiver: str = "slip-gate") -> tuple[NamedOutput, ...]:
        return (await self.desk.rename(receiver, wanted, asked_by="Kim"))[1]

    async def refused(self, wanted: Mapping[int, str], receiver: str = "slip-gate") -> Refused:
        before = self.desk.names("slip-gate")
        with pytest.raises(Refused) as caught:
            await self.call(wanted, receiver)
        assert self.desk.names("slip-gate") == before
        assert caught.value.remedy
        return caught.value

    @property
    def slip(self) -> ReceiverFacts:
        return self.facts["slip-gate"]


async def test_in_force_for_whoever_looks_and_told_once() -> None:
    """Without a restart; the ledger has it, and one event with before and after."""
    bench = Bench()
    after = await bench.call({1: "slip", 3: "lamp"})
    assert after[0] == NamedOutput(1, "gate", "slip")
    assert after[2] == NamedOutput(3, "", "lamp")
    assert dict(bench.slip.outputs) == {1: "slip", 2: "boat-hoist", 3: "lamp"}
    assert [bench.slip.output_number(text) for text in ("slip", "SLIP", "gate", "1", "lamp", "4", "horn")] == [
        1, 1, 1, 1, 3, 4, None,
    ]  # fmt: skip
    assert bench.slip.output_text(1) == "slip"
    (event,) = bench.store.journal.all(EventName.SETTINGS_CHANGED)
    assert event.receiver == "slip-gate"
    assert event.data == {
        "output_names": [
            {"output": 1, "before": "gate", "after": "slip"}, {"output": 3, "before": "", "after": "lamp"},
        ],
        "asked_by": "Kim",
    }  # fmt: skip
    assert bench.ledger.namings() == {"slip-gate": bench.names.naming("slip-gate")}


async def test_after_a_restart_the_ledger_names_outputs() -> None:
    """Also those of former days; a receiver that the settings no longer have is passed over."""
    bench = Bench()
    await bench.call({1: "slip"})
    await bench.call({1: "haven"})
    names = NamesNow(FILE)
    for naming in (*bench.ledger.namings().values(), OutputNaming("old-shed")):
        names.take(naming)
    assert names.now("slip-gate").outputs == {1: "haven", 2: "boat-hoist"}
    assert names.now("slip-gate").also == {"gate": 1, "slip": 1}


async def test_a_settings_file_that_came_to_use_a_given_name() -> None:
    """The file counts, and what is set aside is known until the output gets another name."""
    bench = Bench()
    await bench.call({1: "slip", 3: "lamp"})
    names = NamesNow({"slip-gate": {1: "gate", 2: "Slip"}})
    names.take(bench.names.naming("slip-gate"))
    assert names.now("slip-gate").outputs == {1: "gate", 2: "Slip", 3: "lamp"}
    assert names.set_aside() == (("slip-gate", CalledOutput(1, "slip")),)
    assert bench.names.set_aside() == ()


async def test_called_so_already_is_nothing_done() -> None:
    """Neither kept nor told."""
    bench = Bench()
    await bench.call({1: "gate", 2: "", 4: ""})
    assert bench.ledger.kept == []
    assert bench.store.journal.all(EventName.SETTINGS_CHANGED) == []


async def test_back_to_the_settings_files_name() -> None:
    """With an empty one; what it was called meanwhile is read still."""
    bench = Bench()
    await bench.call({1: "slip"})
    after = await bench.call({1: ""})
    assert after[0] == NamedOutput(1, "gate", "gate", ("slip",))
    assert bench.slip.output_number("slip") == 1


@pytest.mark.parametrize(
    ("wanted", "code", "words"),
    [
        ({}, "nothing-asked", "Nothing was asked for."),
        ({0: "x"}, "no-such-output", "has no output 0"),
        ({5: "x"}, "no-such-output", "has no output 5"),
        ({1: "slip gate"}, "output-name-unfit", "“slip gate”: a name has no blanks"),
        ({1: " "}, "output-name-unfit", "no blanks"),
        ({1: "<i>"}, "output-name-unfit", "no “<” in it"),
        ({1: "x" * 1000}, "output-name-unfit", f"“{'x' * 40}…”: a name has at most 32"),
        ({1: "\u200b"}, "output-name-unfit", "“<U+200B>”"),
        ({1: "2"}, "output-name-unfit", "the output of that number"),
        ({1: "BOAT-hoist"}, "output-name-taken", "output 2 is called so"),
        ({1: "slip", 3: "Slip"}, "output-name-taken", "output 3 is called so"),
        ({3: "lamp", 1: "a:b"}, "output-name-unfit", "“:” separates"),
    ],
)
async def test_what_does_not_fit_is_refused_as_a_whole(wanted: Mapping[int, str], code: str, words: str) -> None:
    """With words; nothing of the request is done."""
    bench = Bench()
    refused = await bench.refused(wanted)
    assert refused.code == code
    assert words in refused.message
    assert bench.ledger.kept == []


async def test_an_unknown_receiver() -> None:
    """Told with those that there are."""
    bench = Bench()
    with pytest.raises(NotFound, match="no receiver boat-shed"):
        await bench.call({1: "x"}, "boat-shed")
    with pytest.raises(NotFound):
        bench.desk.names("boat-shed")


def _grouped() -> Roster:
    rights = (Right("slip-gate", "1", "gate"), Right("slip-gate", "2", "Boat-Hoist"))
    plain = roster(entry(1, "1:slip-gate/gate"), entry(2, "1:car-park/barrier"))
    return Roster(plain.entries, "d1", groups={"berth-holders": rights})


async def test_a_roster_goes_on_saying_what_it_said() -> None:
    """It was written with the old names; a name by which it writes another output is refused, with where."""
    bench = Bench()
    bench.rosters.put(_grouped())
    await bench.call({1: "slip"})
    assert bench.slip.output_number("gate") == 1
    refused = await bench.refused({3: "gate"})
    assert refused.code == "output-name-in-roster"
    assert "“gate”" in refused.message
    assert "group berth-holders, row 2" in refused.message
    assert "“slip”" in refused.remedy
    swapped = await bench.refused({1: "boat-hoist", 2: "slip"})
    assert swapped.code == "output-name-in-roster"
    await bench.call({1: "gate"}, "car-park")  # the same word at another receiver is another output's


async def test_a_name_that_no_roster_uses_is_free_again() -> None:
    """A slip of the pen on the wrong output can be put right."""
    bench = Bench()
    bench.rosters.put(_grouped())
    await bench.call({3: "lamp"})
    await bench.call({3: "horn"})
    await bench.call({4: "lamp"})
    assert bench.slip.output_number("lamp") == 4
    assert bench.slip.output_number("horn") == 3


async def test_what_it_was_made_from_is_looked_at_in_its_turn() -> None:
    """Whoever was faster is not overwritten."""
    bench = Bench()

    def unchanged(found: Sequence[NamedOutput]) -> None:
        assert found[0].in_use == "slip"
        raise Refused("changed meanwhile", remedy="look", code="precondition-failed")

    await bench.call({1: "slip"})
    with pytest.raises(Refused, match="changed meanwhile"):
        await bench.desk.rename("slip-gate", {1: "haven"}, asked_by="Kim", basis=unchanged)
    assert bench.slip.outputs[1] == "slip"


async def test_what_can_not_be_kept_is_not_in_force(monkeypatch: pytest.MonkeyPatch) -> None:
    """The ledger comes first."""
    bench = Bench()

    async def full(naming: OutputNaming) -> None:
        raise StoreUnavailable("The disk is full.", remedy="Free space.")

    monkeypatch.setattr(bench.ledger, "keep_naming", full)
    with pytest.raises(StoreUnavailable):
        await bench.call({1: "slip"})
    assert bench.slip.outputs[1] == "gate"
    assert bench.store.journal.all(EventName.SETTINGS_CHANGED) == []


async def test_rights_are_shown_by_the_names_in_use() -> None:
    """Each once; numbers, unknown outputs and other receivers stay as they are written."""
    bench = Bench()
    await bench.call({1: "slip"})
    rights = [Right(*place) for place in (
        ("slip-gate", "1", "gate"), ("slip-gate", "1", "slip"), ("slip-gate", "2", "1"), ("slip-gate", "1", "horn"),
        ("far-gate", "1", "gate"),
    )]  # fmt: skip
    assert rights_now(rights, bench.facts.values()) == (
        Right("slip-gate", "1", "slip"), Right("slip-gate", "2", "1"), Right("slip-gate", "1", "horn"),
        Right("far-gate", "1", "gate"),
    )  # fmt: skip


async def test_a_look_is_whole_whatever_happens_meanwhile() -> None:
    """What somebody goes through does not change under their hands."""
    bench = Bench()
    seen = bench.slip.outputs.items()
    names, values = bench.slip.outputs.keys(), bench.slip.outputs.values()
    await bench.call({1: "slip", 3: "lamp"})
    assert dict(seen) == {1: "gate", 2: "boat-hoist"}
    assert (list(names), list(values)) == ([1, 2], ["gate", "boat-hoist"])
    assert (len(bench.slip.outputs), list(bench.slip.outputs)) == (3, [1, 2, 3])
