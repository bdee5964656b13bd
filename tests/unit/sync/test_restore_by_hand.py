"""A snapshot brought back where no line reaches: it stands on the visit sheet, and the roster waits meanwhile."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from gateway.domain.mirror import Mirror
from gateway.domain.plan import RESTORE, Plan, PlanState
from gateway.domain.receiver import Slot
from gateway.domain.revocation import Revocation
from gateway.domain.roster import Entry
from gateway.domain.target import Target
from gateway.domain.visit_sheet import Gesture, LineState
from gateway.ports import Holding
from tests.fakes.hand_house import SHED, HandHouse
from tests.fakes.sync_house import entry, roster

GATE = "1:boat-shed/gate"
REMOVE, LEARN = Gesture.REMOVE, Gesture.LEARN
_AT_THE_GATE = (frozenset({1}), *(frozenset[int]() for _ in range(7)))


def _slots(serials: Sequence[int]) -> dict[int, Slot]:
    return {n: Slot(n, serial, 0, _AT_THE_GATE, f"Berth {serial}") for n, serial in enumerate(serials, 1)}


async def _shed(*entries: Entry, holds: Sequence[int] = ()) -> HandHouse:
    house = HandHouse()
    await house.desk.load()
    house.rosters.put(roster(*entries, digest="d1"), house.clock.now())
    await house.desk.hold(SHED, [Holding(serial, {1: [1]}) for serial in holds], asked_by="token:desk")
    return house


async def _restore(house: HandHouse, *serials: int) -> Plan:
    def aim(mirror: Mirror, revoked: Collection[int]) -> Target:
        return Target({n: slot for n, slot in _slots(serials).items() if slot.serial not in revoked}, None, ())

    return await house.restores.start(
        SHED, aim, reason=RESTORE, snapshot="20260302T080000Z-001-boat-shed", asked_by="Kim"
    )


async def test_what_the_snapshot_held_comes_onto_the_sheet() -> None:
    """A new, empty board: learnt line by line, though the roster wants something else; ticked, it is done by hand."""
    house = await _shed(entry(9, GATE))
    plan = await _restore(house, 1, 2)
    assert (plan.state, plan.reason) == (PlanState.PENDING, RESTORE)
    assert list(house.lines().values()) == [(LEARN, 1, 1, 1), (LEARN, 2, 1, 1)]
    assert "nobody has said that the roster may go on there" in house.desk.sheet(SHED).problem
    first, second = house.lines()
    await house.tick(first)
    house = await house.restarted()
    await house.desk.settle_all()
    assert list(house.lines().values()) == [(LEARN, 2, 1, 1)], "a restart goes on where the visit was"
    await house.tick(second)
    assert house.held() == {1: {(1, 1)}, 2: {(1, 1)}}
    assert house.store.plans.kept[plan.id].state is PlanState.APPLIED
    assert house.lines() == {}, "the roster waits"


async def test_the_roster_goes_on_when_somebody_says_so() -> None:
    """In the middle of it too: what is left of the snapshot is withdrawn, what was ticked stays ticked."""
    house = await _shed(entry(9, GATE))
    plan = await _restore(house, 1, 2)
    await house.tick(next(iter(house.lines())))
    await house.waiting.approve(SHED, "roster", asked_by="Kim")
    await house.desk.settle_all()
    assert list(house.lines().values()) == [(REMOVE, 1, 0, 0), (LEARN, 9, 1, 1)]
    assert (LEARN, 2, 1, 1) in house.lines(LineState.WITHDRAWN).values()
    assert house.store.plans.kept[plan.id].state is PlanState.SUPERSEDED


async def test_what_is_revoked_meanwhile_is_owed_and_never_learnt() -> None:
    """Whether it was ticked already, still to come, or in the board and not in the snapshot."""
    house = await _shed(entry(9, GATE), holds=(5,))
    plan = await _restore(house, 1, 2, 5)
    await house.tick(next(number for number, work in house.lines().items() if work[1] == 1))
    for serial in (1, 2, 5):
        await house.store.ledger.revoke(Revocation(serial, "Kim", "lost", house.clock.now()), {})
    await house.desk.settle_all()
    assert sorted(house.lines().values()) == sorted([(REMOVE, 1, 0, 0), (REMOVE, 5, 0, 0)])
    assert house.store.plans.kept[plan.id].state is PlanState.SUPERSEDED
    for number in list(house.lines()):
        await house.tick(number)
    assert house.held() == {}
    assert house.lines() == {}


async def test_what_takes_much_away_is_held_and_approved() -> None:
    """As anywhere; until then the sheet asks for nothing of it."""
    house = await _shed(entry(1, GATE), holds=(1, 2, 3, 4))
    plan = await _restore(house, 7)
    assert plan.state is PlanState.HELD
    assert house.lines() == {}
    approved = await house.runs.approve(plan.id, asked_by="Kim")
    assert approved.state is PlanState.PENDING
    works = [work[:2] for work in house.lines().values()]
    assert set(works[:4]) == {(REMOVE, 1), (REMOVE, 2), (REMOVE, 3), (REMOVE, 4)}, "what goes makes room"
    assert works[4:] == [(LEARN, 7)]


async def test_nothing_differs() -> None:
    """Nothing comes onto the sheet, and it is said."""
    house = await _shed(entry(1, GATE), holds=(1,))
    plan = await _restore(house, 1)
    assert (plan.state, house.lines()) == (PlanState.APPLIED, {})
