"""One run of the timetable, from the source to the receivers."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

from gateway.domain.events import EventName
from gateway.domain.plan import Plan, PlanState
from gateway.domain.roster import Roster
from gateway.errors import NoAnswer, SourceUnreachable
from gateway.ports import Fetched, NotModified, ReceiverFacts, RosterCheck
from gateway.sync.due import Due
from gateway.sync.roster_keeper import RosterKeeper
from gateway.sync.rounds import run_round
from tests.fakes.clock import FakeClock
from tests.fakes.sync_house import Rosters, SyncHouse, entry, facts, quay_receiver

DUE = Due(datetime(2026, 3, 2, 1, 30, tzinfo=UTC))


class Source:
    place = "roster.csv"
    content = b"1 2 3"
    reachable = True

    async def fetch(self, tag: str | None) -> Fetched | NotModified:
        if not self.reachable:
            raise SourceUnreachable("The roster can't be fetched.")
        return Fetched(self.content, None, self.content.decode())


class Reader:
    def check(self, roster: bytes, groups: bytes | None, receivers: Sequence[ReceiverFacts] | None) -> RosterCheck:
        rights = "1:slip-gate/gate 1:car-park/gate"
        entries = tuple(entry(int(word), rights) for word in roster.decode().split())
        return RosterCheck(Roster(entries, roster.decode()), (), ())


class DeskInForce(Rosters):
    """Hands the drafter what the desk has in force."""

    desk: RosterKeeper

    @property
    def in_force(self):  # type: ignore[no-untyped-def]
        return self.desk.in_force

    @in_force.setter
    def in_force(self, value: object) -> None:
        return


def build() -> tuple[SyncHouse, RosterKeeper, Source]:
    clock = FakeClock()
    rosters, source = DeskInForce(), Source()
    house = SyncHouse([quay_receiver(n, clock=clock) for n in ("slip-gate", "car-park")], clock=clock, rosters=rosters)
    rosters.desk = RosterKeeper(
        source=source,
        reader=Reader(),
        archive=house.store.rosters,
        ledger=house.store.ledger,
        journal=house.store.journal,
        clock=clock,
        receivers=[facts("slip-gate"), facts("car-park")],
    )
    return house, rosters.desk, source


def states(ended: dict[str, Plan | Exception]) -> dict[str, PlanState]:
    return {name: plan.state for name, plan in ended.items() if isinstance(plan, Plan)}


async def test_from_the_file_to_every_receiver() -> None:
    """Fetched, accepted, written, and the second time nothing is written."""
    house, desk, _ = build()
    assert states({**await run_round(DUE, desk=desk, runner=house.runner)}) == dict.fromkeys(
        ("slip-gate", "car-park"), PlanState.APPLIED
    )
    assert house.held() == house.held("car-park") == {serial: {1: frozenset({1})} for serial in (1, 2, 3)}
    writes = [one.slot_writes for one in house.receivers.values()]
    await run_round(DUE, desk=desk, runner=house.runner)
    assert [one.slot_writes for one in house.receivers.values()] == writes
    assert len(house.store.journal.all(EventName.ROSTER_FETCHED)) == 1


async def test_an_unreachable_source_still_brings_the_last_good_roster() -> None:
    """A receiver that was away at the last run gets what was accepted then."""
    house, desk, source = build()
    house.receivers["car-park"].link_error = NoAnswer("silence")
    await run_round(DUE, desk=desk, runner=house.runner)
    house.receivers["car-park"].link_error = None
    source.reachable = False
    await run_round(DUE, desk=desk, runner=house.runner)
    assert set(house.held("car-park")) == {1, 2, 3}


async def test_without_any_roster_nothing_is_done() -> None:
    """Not even a frame."""
    house, desk, source = build()
    source.reachable = False
    assert await run_round(DUE, desk=desk, runner=house.runner) == {}
    assert all(one.frames == 0 for one in house.receivers.values())


async def test_a_roster_that_cannot_be_kept_is_not_brought() -> None:
    """The disk is full: the last good one stays in force."""
    house, desk, source = build()
    await run_round(DUE, desk=desk, runner=house.runner)
    source.content = b"1 2 3 4"
    house.store.ledger.full = True
    await run_round(DUE, desk=desk, runner=house.runner)
    assert set(house.held()) == {1, 2, 3}
