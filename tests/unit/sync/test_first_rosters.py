"""A site already in use: its receivers are read anew, a roster is made, and the plan of it is empty."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from gateway.domain.receiver import Origin, Slot
from gateway.errors import NoAnswer, NotFound, Refused
from gateway.roster import RosterFileReader
from gateway.roster.editing import FileEditor
from gateway.roster.local_source import LocalSource
from gateway.store.keptrosters import KeptRosterFiles
from gateway.sync.by_hand.keeping import SiteKeeper
from gateway.sync.first_rosters import FirstRosterDesk
from gateway.sync.own_roster import OwnRosterDesk
from gateway.sync.roster_keeper import RosterKeeper
from tests.fakes.clock import FakeClock
from tests.fakes.receiver import FakeReceiver
from tests.fakes.sync_house import BERLIN, SyncHouse, quay_receiver

NAMES = ("Berth 12", "", "Barge crew", "Berth 12")


class Site:
    """Two receivers in use, and a gateway that keeps the roster itself."""

    def __init__(self, state: Path) -> None:
        clock = FakeClock()
        self.receivers = [quay_receiver(name, clock=clock) for name in ("slip-gate", "car-park")]
        for receiver, first in zip(self.receivers, (1, 3), strict=True):
            fill(receiver, first)
        self.house = SyncHouse(self.receivers, clock=clock)
        facts = tuple(self.house.site.facts.values())
        reader, editor, kept = RosterFileReader(BERLIN), FileEditor(), KeptRosterFiles(state)
        self.rosters = RosterKeeper(
            source=LocalSource(kept), reader=reader, archive=self.house.store.rosters, ledger=self.house.store.ledger,
            journal=self.house.store.journal, clock=clock, receivers=facts,
        )  # fmt: skip
        self.own = OwnRosterDesk(
            kept=kept,
            editor=editor,
            reader=reader,
            rosters=self.rosters,
            archive=self.house.store.rosters,
            zone=BERLIN,
            receivers=facts,
            clock=clock,
        )
        self.desk = FirstRosterDesk(
            site=self.house.site, keeper=self.house.keeper, editor=editor, reader=reader, own=self.own
        )

    @property
    def written(self) -> list[int]:
        return [receiver.frames_of["write_slots"] for receiver in self.receivers]


def fill(receiver: FakeReceiver, first: int) -> None:
    """Four transmitters with names as people leave them; the second receiver shares two of them."""
    for number, name in enumerate(NAMES, 1):
        slot = Slot(number * 2, first + number, 0, (frozenset({1}), frozenset({3})), name=name)
        receiver.board.put(slot.number, slot, Origin.LINE)


async def test_reading_writes_nothing_and_the_plan_is_empty(tmp_path: Path) -> None:
    """Kept as the first revision and in force, it wants what is there."""
    site = Site(tmp_path)
    first = await site.desk.read()
    assert (first.transmitters, first.notes) == (6, ())
    done = await site.desk.keep(first, who="token:1")
    assert done.revision is not None
    assert (done.revision.how, done.problem) == ("from-receiver", "")
    site.house.rosters.in_force = site.rosters.in_force
    for receiver in site.receivers:
        plan = site.house.drafter.draft(await site.house.keeper.refresh(receiver.name))
        assert (plan.changes, plan.unchanged) == ((), 4)
    assert site.written == [0, 0]


async def test_a_second_first_roster_is_refused(tmp_path: Path) -> None:
    """It would replace what people have edited since."""
    site = Site(tmp_path)
    first = await site.desk.read()
    await site.desk.keep(first, who="x")
    with pytest.raises(Refused) as told:
        await site.desk.keep(first, who="x")
    assert told.value.code == "roster-exists"


async def test_one_that_can_not_be_read_ends_it(tmp_path: Path) -> None:
    """Its people would be missing, and be taken away there later."""
    site = Site(tmp_path)
    site.receivers[1].link_error = NoAnswer("Receiver 1 did not answer.", remedy="Check its power.")
    with pytest.raises(NoAnswer, match="car-park: Receiver 1 did not answer") as told:
        await site.desk.read()
    assert told.value.remedy == "Check its power. Or name the receivers that are to be read."
    alone = await site.desk.read(["slip-gate"])
    assert alone.transmitters == 4
    with pytest.raises(NotFound):
        await site.desk.read(["boathouse"])


async def test_nothing_to_take_over(tmp_path: Path) -> None:
    """Said, not kept."""
    site = Site(tmp_path)
    for receiver in site.receivers:
        for number in list(receiver.board.slots):
            receiver.board.put(number, None, Origin.LINE)
    with pytest.raises(Refused) as told:
        await site.desk.read()
    assert told.value.code == "nothing-held"


async def test_a_receiver_without_a_line_comes_along_once_it_is_known(tmp_path: Path) -> None:
    """What was entered and ticked there is taken over too; while nobody has said what it holds it is left out."""
    site = Site(tmp_path)
    by_hand = replace(site.house.site, by_hand=frozenset({"car-park"}))
    mirrors = site.house.store.mirrors
    mirrors.kept.pop("car-park", None)
    keeper = SiteKeeper(site.house.keeper, site=by_hand, mirrors=mirrors)
    site.desk = FirstRosterDesk(
        site=by_hand, keeper=keeper, editor=FileEditor(), reader=RosterFileReader(BERLIN), own=site.own
    )
    assert (await site.desk.read()).transmitters == 4
    with pytest.raises(Refused) as told:
        await site.desk.read(["car-park"])
    assert told.value.code == "holdings-unknown"
    await site.house.keeper.refresh("car-park")
    assert (await site.desk.read()).transmitters == 6
    assert site.written == [0, 0]
