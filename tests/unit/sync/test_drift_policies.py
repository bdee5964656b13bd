"""What other hands change at a receiver, by kind and by what the settings say; and what people then decide.

The board, the mirror keeper, planning, the guard and the desk are the real ones; only the line and the disk are not.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date

import pytest

from gateway.domain.drift import Decision, DriftItem, DriftKind, DriftPolicy, DriftState
from gateway.domain.events import EventName
from gateway.domain.plan import Plan, PlanState
from gateway.domain.receiver import Origin, Slot
from gateway.errors import NotFound, Refused
from tests.fakes.board import FakeBoard
from tests.fakes.clock import FakeClock
from tests.fakes.receiver import some_slot
from tests.fakes.sync_house import SLIP_GATE, SyncHouse, entry, quay_receiver, roster, run_in

GATE, HOIST = frozenset({1}), frozenset({3})
BERTH, CREW, STRANGER = 101, 102, 900
REPORT, REMOVE, ADOPT = DriftPolicy.REPORT, DriftPolicy.REMOVE, DriftPolicy.ADOPT
Rights = dict[int, dict[int, frozenset[int]]]

AS_WANTED: Rights = {BERTH: {1: GATE}, CREW: {1: GATE, 2: HOIST}}
ROSTER = roster(entry(BERTH), entry(CREW, "1:slip-gate/gate 2:slip-gate/boat-hoist"))


def house_with(policy: DriftPolicy) -> SyncHouse:
    clock = FakeClock()
    house = SyncHouse([quay_receiver(clock=clock)], clock=clock, drift=policy)
    house.rosters.put(ROSTER)
    return house


def board(house: SyncHouse) -> FakeBoard:
    return house.receivers[SLIP_GATE].board


async def apply(house: SyncHouse) -> Plan:
    return await house.clock.run(house.runner.apply(SLIP_GATE))


async def look(house: SyncHouse) -> None:
    """What a poll that sees a new revision does."""
    await house.clock.run(house.keeper.refresh(SLIP_GATE))
    await house.clock.settle()


def only(house: SyncHouse) -> DriftItem:
    (item,) = house.drift.open(SLIP_GATE)
    return item


# --- what the other hand does ---


def adds_a_stranger(house: SyncHouse) -> None:
    board(house).learn(STRANGER, 1, 1)


def gives_more(house: SyncHouse) -> None:
    board(house).learn(BERTH, 2, 3)


def takes_one_away(house: SyncHouse) -> None:
    board(house).unlearn(BERTH, 1, 1)


def takes_a_part(house: SyncHouse) -> None:
    board(house).unlearn(CREW, 2, 3)


def _slot(house: SyncHouse, serial: int) -> Slot:
    return next(slot for slot in board(house).slots.values() if slot.serial == serial)


def tool_adds(house: SyncHouse) -> None:
    board(house).put(9, some_slot(9, STRANGER), Origin.LINE)


def tool_removes(house: SyncHouse) -> None:
    board(house).put(_slot(house, BERTH).number, None, Origin.LINE)


def tool_renames(house: SyncHouse) -> None:
    slot = _slot(house, BERTH)
    board(house).put(slot.number, replace(slot, name="Visitor"), Origin.LINE)


def tool_swaps(house: SyncHouse) -> None:
    number = _slot(house, BERTH).number
    board(house).put(number, some_slot(number, STRANGER), Origin.LINE)


Hand = Callable[[SyncHouse], None]
WITH_STRANGER = AS_WANTED | {STRANGER: {1: GATE}}
WITH_MORE = AS_WANTED | {BERTH: {1: GATE, 2: HOIST}}
WITHOUT_BERTH: Rights = {CREW: AS_WANTED[CREW]}
WITHOUT_PART = AS_WANTED | {CREW: {1: GATE}}

TABLE: list[tuple[Hand, DriftPolicy, DriftKind, DriftState, Rights]] = [
    (adds_a_stranger, REPORT, DriftKind.EXTRA, DriftState.OPEN, WITH_STRANGER),
    (adds_a_stranger, REMOVE, DriftKind.EXTRA, DriftState.GOING, AS_WANTED),
    (adds_a_stranger, ADOPT, DriftKind.EXTRA, DriftState.ADOPTED, WITH_STRANGER),
    (gives_more, REPORT, DriftKind.CHANGED, DriftState.OPEN, WITH_MORE),
    (gives_more, REMOVE, DriftKind.CHANGED, DriftState.GOING, AS_WANTED),
    (gives_more, ADOPT, DriftKind.CHANGED, DriftState.ADOPTED, WITH_MORE),
    (takes_one_away, REPORT, DriftKind.MISSING, DriftState.STANDS, WITHOUT_BERTH),
    (takes_one_away, REMOVE, DriftKind.MISSING, DriftState.STANDS, WITHOUT_BERTH),
    (takes_one_away, ADOPT, DriftKind.MISSING, DriftState.STANDS, WITHOUT_BERTH),
    (takes_a_part, REPORT, DriftKind.CHANGED, DriftState.STANDS, WITHOUT_PART),
    (takes_a_part, REMOVE, DriftKind.CHANGED, DriftState.STANDS, WITHOUT_PART),
    (takes_a_part, ADOPT, DriftKind.CHANGED, DriftState.STANDS, WITHOUT_PART),
    (tool_adds, REPORT, DriftKind.EXTRA, DriftState.OPEN, WITH_STRANGER),
    (tool_adds, REMOVE, DriftKind.EXTRA, DriftState.GOING, AS_WANTED),
    (tool_adds, ADOPT, DriftKind.EXTRA, DriftState.ADOPTED, WITH_STRANGER),
    (tool_removes, REPORT, DriftKind.MISSING, DriftState.STANDS, WITHOUT_BERTH),
    (tool_removes, REMOVE, DriftKind.MISSING, DriftState.GOING, AS_WANTED),
    (tool_removes, ADOPT, DriftKind.MISSING, DriftState.STANDS, WITHOUT_BERTH),
]


@pytest.mark.parametrize(("hand", "policy", "kind", "state", "after"), TABLE)
async def test_each_kind_is_told_apart_and_treated_as_the_settings_say(
    hand: Hand, policy: DriftPolicy, kind: DriftKind, state: DriftState, after: Rights
) -> None:
    """Found and explained before any plan; then three runs of the timetable and a restart leave what they may."""
    house = house_with(policy)
    async with run_in(house):
        assert (await apply(house)).state is PlanState.APPLIED
        hand(house)
        await look(house)
        item = only(house)
        assert (item.kind, item.state) == (kind, state), item
        assert item.words
        assert item.next_step
        assert (item.todo != "") == (state is not DriftState.GOING)
        writes = house.receivers[SLIP_GATE].slot_writes
        for _ in range(3):
            await apply(house)
        assert house.held() == after
    again = house.restarted()
    async with run_in(again):
        await apply(again)
        assert again.held() == after
        written = house.receivers[SLIP_GATE].slot_writes - writes
        assert written == (1 if state is DriftState.GOING else 0)
        assert (again.drift.open() == ()) == (state is DriftState.GOING)


@pytest.mark.parametrize(("policy", "name"), [(REPORT, "Visitor"), (ADOPT, "Visitor"), (REMOVE, "Berth 101")])
async def test_a_changed_name_is_drift_too(policy: DriftPolicy, name: str) -> None:
    """Another tool writes another name: it is told, and put back only where the settings say so."""
    house = house_with(policy)
    async with run_in(house):
        await apply(house)
        tool_renames(house)
        await look(house)
        assert only(house).kind is DriftKind.CHANGED
        await apply(house)
        assert _slot(house, BERTH).name == name


async def test_one_slot_overwritten_is_two_transmitters() -> None:
    """The one that was in it is missing, the one that is in it now is extra."""
    house = house_with(REPORT)
    async with run_in(house):
        await apply(house)
        tool_swaps(house)
        await look(house)
        assert {item.serial: item.kind for item in house.drift.open()} == {
            BERTH: DriftKind.MISSING,
            STRANGER: DriftKind.EXTRA,
        }
        (event,) = house.store.journal.all(EventName.DRIFT_FOUND)
        assert [(each["kind"], each["origin"]) for each in event.data["drift"]] == [
            ("missing", "line"),
            ("extra", "line"),
        ]
        await apply(house)
        assert house.held() == WITHOUT_BERTH | {STRANGER: {1: GATE}}


async def test_what_was_taken_away_outlives_rosters_database_and_the_roster_s_changes() -> None:
    """A new roster that gives more, a lost database, a row that went and came back: nothing gives it back."""
    house = house_with(REMOVE)
    async with run_in(house):
        await apply(house)
        takes_one_away(house)
        await look(house)
        house.rosters.put(roster(entry(BERTH, "1:slip-gate/gate 2:slip-gate/light"), entry(CREW), digest="d2"))
        await apply(house)
        assert house.held() == {CREW: {1: GATE}}
        house.rosters.put(roster(entry(CREW), digest="d3"))
        await apply(house)
        house.rosters.put(roster(entry(BERTH), entry(CREW), digest="d4"))
        await apply(house)
        assert house.held() == {CREW: {1: GATE}}
        house.store.lose_database()
    again = house.restarted()
    async with run_in(again):
        plan = await apply(again)
        assert again.held() == {CREW: {1: GATE}}
        assert any("gatepost drift restore slip-gate 0000000101" in words for words in plan.left_out)


async def test_a_part_that_was_taken_stays_away_while_the_rest_follows_the_roster() -> None:
    """The crew lost the hoist at the board; a new roster gives the crew the light, and not the hoist again."""
    house = house_with(REMOVE)
    async with run_in(house):
        await apply(house)
        takes_a_part(house)
        await look(house)
        rights = "1:slip-gate/gate 2:slip-gate/boat-hoist 3:slip-gate/light"
        house.rosters.put(roster(entry(BERTH), entry(CREW, rights), digest="d2"))
        await apply(house)
        assert house.held() == {BERTH: {1: GATE}, CREW: {1: GATE, 3: frozenset({2})}}


async def test_restoring_gives_back_what_was_taken() -> None:
    """By a plan with its proof; nothing is left open, and it stays given."""
    house = house_with(REMOVE)
    async with run_in(house):
        await apply(house)
        takes_one_away(house)
        await look(house)
        decided = await house.clock.run(house.drift.decide(SLIP_GATE, BERTH, Decision.RESTORE, asked_by="office"))
        assert decided.item is None
        await house.clock.advance(30)
        assert house.held() == AS_WANTED
        assert house.drift.open() == ()
        (event,) = house.store.journal.all(EventName.DRIFT_SETTLED)
        assert event.data == {
            "serial": "0000000101",
            "kind": "missing",
            "how": "restored",
            "asked_by": "office",
            "left": 0,
        }


async def test_a_removal_becomes_a_revocation() -> None:
    """Revoked everywhere and no longer open; lifted, the roster decides again."""
    house = house_with(REPORT)
    async with run_in(house):
        await apply(house)
        takes_one_away(house)
        await look(house)
        await house.clock.run(house.drift.decide(SLIP_GATE, BERTH, Decision.REVOKE, asked_by="office"))
        assert BERTH in house.store.ledger.revocations()
        assert house.drift.open() == ()
        await apply(house)
        assert house.held() == WITHOUT_BERTH
        await house.clock.run(house.revoker.lift(BERTH, asked_by="office", reason="found again"))
        await apply(house)
        assert house.held() == AS_WANTED


async def test_an_adopted_transmitter_waits_for_the_roster() -> None:
    """It keeps its own rights with a to-do; once the roster has it, the roster's rights count and it is done."""
    house = house_with(REPORT)
    async with run_in(house):
        await apply(house)
        board(house).learn(STRANGER, 2, 3)
        await look(house)
        await house.clock.run(house.drift.decide(SLIP_GATE, STRANGER, Decision.ADOPT, asked_by="office"))
        item = only(house)
        assert (item.state, item.decided_by) == (DriftState.ADOPTED, "office")
        assert item.todo == "Enter it in the roster: serial 0000000900, rights 2:slip-gate/boat-hoist"
        await apply(house)
        assert house.held() == AS_WANTED | {STRANGER: {2: HOIST}}
        house.rosters.put(roster(*ROSTER.entries, entry(STRANGER), digest="d2"))
        await apply(house)
        await house.clock.settle()
        assert house.held() == AS_WANTED | {STRANGER: {1: GATE}}
        assert house.drift.open() == ()


@pytest.mark.parametrize("policy", [REPORT, ADOPT])
async def test_what_was_adopted_can_be_dropped_and_what_is_reported_removed(policy: DriftPolicy) -> None:
    """A person says so; the next plan takes it out."""
    house = house_with(policy)
    async with run_in(house):
        await apply(house)
        adds_a_stranger(house)
        await look(house)
        await house.clock.run(house.drift.decide(SLIP_GATE, STRANGER, Decision.REMOVE, asked_by="office"))
        await house.clock.advance(30)
        assert house.held() == AS_WANTED
        assert house.drift.open() == ()


async def test_what_was_adopted_outlives_another_word_of_the_settings() -> None:
    """Adopted by a person under `report`; with `remove` from the next start on it stays all the same."""
    house = house_with(REPORT)
    async with run_in(house):
        await apply(house)
        adds_a_stranger(house)
        await look(house)
        await house.clock.run(house.drift.decide(SLIP_GATE, STRANGER, Decision.ADOPT, asked_by="office"))
    house.policy = REMOVE
    again = house.restarted()
    async with run_in(again):
        board(again).learn(STRANGER, 2, 3)
        await look(again)
        await apply(again)
        assert again.held() == WITH_STRANGER


async def test_a_decision_that_makes_no_sense_is_refused() -> None:
    """With what can be said instead; and nothing is open about somebody who was never touched."""
    house = house_with(REPORT)
    async with run_in(house):
        await apply(house)
        takes_one_away(house)
        await look(house)
        with pytest.raises(Refused, match="adopt makes no sense") as refused:
            await house.drift.decide(SLIP_GATE, BERTH, Decision.ADOPT, asked_by="office")
        assert refused.value.remedy == "Use one of: restore, revoke."
        with pytest.raises(NotFound):
            await house.drift.decide(SLIP_GATE, CREW, Decision.REMOVE, asked_by="office")


async def test_undoing_it_at_the_board_ends_it() -> None:
    """Learned again, or unlearned again: nothing is open any more and nothing is written."""
    house = house_with(REPORT)
    async with run_in(house):
        await apply(house)
        takes_a_part(house)
        adds_a_stranger(house)
        await look(house)
        assert len(house.drift.open()) == 2
        board(house).learn(CREW, 2, 3)
        board(house).unlearn(STRANGER, 1, 1)
        await look(house)
        assert house.drift.open() == ()
        writes = house.receivers[SLIP_GATE].slot_writes
        await apply(house)
        assert house.receivers[SLIP_GATE].slot_writes == writes


async def test_strangers_by_the_dozen_are_taken_out_only_when_somebody_approves() -> None:
    """The guard of removals counts them like any others."""
    house = house_with(REMOVE)
    async with run_in(house):
        await apply(house)
        for serial in range(900, 904):
            board(house).learn(serial, 1, 1)
        plan = await apply(house)
        assert plan.state is PlanState.HELD
        assert len(house.held()) == 6


async def test_an_ended_transmitter_goes_though_it_was_changed() -> None:
    """Given more at the board while it was valid, reported and left; its last day is over and all of it goes."""
    house = house_with(REPORT)
    house.rosters.put(roster(entry(BERTH, valid_until=date(2026, 3, 3)), entry(CREW)))
    async with run_in(house):
        await apply(house)
        gives_more(house)
        await look(house)
        await apply(house)
        assert house.held()[BERTH] == {1: GATE, 2: HOIST}
        await house.clock.advance(2 * 86_400)
        await apply(house)
        assert house.held() == {CREW: {1: GATE}}


# --- a site in use ---


async def test_who_was_there_before_is_told_from_who_was_let_go() -> None:
    """Under `report` a transmitter of the first day stays; one that the roster has dropped goes."""
    house = house_with(REPORT)
    board(house).put(7, some_slot(7, STRANGER, name="old crew"), Origin.LINE)
    async with run_in(house):
        await apply(house)
        assert house.held() == WITH_STRANGER
        item = only(house)
        assert (item.since, item.holder, item.state) == (None, "old crew", DriftState.OPEN)
        house.rosters.put(roster(entry(CREW), digest="d2"))
        await apply(house)
        assert house.held() == {CREW: {1: GATE}, STRANGER: {1: GATE}}
        house.rosters.put(roster(entry(CREW), entry(STRANGER), digest="d3"))
        await apply(house)
        house.rosters.put(roster(entry(CREW), digest="d4"))
        await apply(house)
        assert house.held() == {CREW: {1: GATE}}
        assert house.drift.open() == ()


async def test_who_was_there_before_can_be_adopted_or_removed() -> None:
    """Under `remove` it would go with the next plan; adopted first, it stays."""
    house = house_with(REMOVE)
    board(house).put(7, some_slot(7, STRANGER), Origin.LINE)
    board(house).put(8, some_slot(8, STRANGER + 1), Origin.LINE)
    async with run_in(house):
        await look(house)
        assert {item.state for item in house.drift.open()} == {DriftState.GOING}
        await house.clock.run(house.drift.decide(SLIP_GATE, STRANGER, Decision.ADOPT, asked_by="office"))
        await apply(house)
        assert house.held() == WITH_STRANGER


# --- reset and replacement ---


@pytest.mark.parametrize("origin", [Origin.BOARD, Origin.LINE])
async def test_a_reset_restores_nothing_by_itself(origin: Origin) -> None:
    """Whoever did it: the roster waits until somebody lets it go on, over a restart too; then all is as it was."""
    house = house_with(REMOVE)
    async with run_in(house):
        await apply(house)
        board(house).reset(origin)
        await look(house)
        with pytest.raises(Refused, match="cleared by a reset") as refused:
            await apply(house)
        assert refused.value.code == "roster-waits"
        assert house.drift.open() == ()
        (paused,) = house.store.journal.all(EventName.ROSTER_PAUSED)
        assert paused.data["reason"] == "board-reset"
        (told,) = house.store.journal.all(EventName.DRIFT_FOUND)
        assert told.data["cleared"] is True
    again = house.restarted()
    async with run_in(again):
        with pytest.raises(Refused):
            await apply(again)
        assert again.held() == {}
        await again.clock.run(again.waiting.approve(SLIP_GATE, "roster", asked_by="office"))
        await apply(again)
        assert again.held() == AS_WANTED


async def test_a_reset_found_by_the_plan_itself_stops_the_plan() -> None:
    """Nothing had looked since; the refresh before planning finds the reset, and nothing is written."""
    house = house_with(REMOVE)
    async with run_in(house):
        await apply(house)
        board(house).reset()
        with pytest.raises(Refused) as refused:
            await apply(house)
        assert refused.value.code == "roster-waits"
        assert house.held() == {}


async def test_a_reset_in_the_middle_of_a_plan_is_not_filled_up_again() -> None:
    """Cut after its first frame, the receiver is reset; the plan ends and the roster waits."""
    house = house_with(REMOVE)
    house.rosters.put(roster(*(entry(serial) for serial in range(101, 121))))
    async with run_in(house):
        receiver = house.receivers[SLIP_GATE]
        receiver.fail(skip=2, method="write_slots")
        await house.clock.run(house.keeper.refresh(SLIP_GATE))
        started = await house.clock.run(house.runner.start(SLIP_GATE, asked_by="office"))
        while receiver.write_frames < 2:
            await house.clock.advance(0.01)
        receiver.board.reset()
        await house.clock.advance(120)
        ended = house.store.plans.kept[started.id]
        assert ended.state in (PlanState.FAILED, PlanState.SUPERSEDED), ended
        assert house.held() == {}
        assert SLIP_GATE in house.waiting.all()


async def test_what_was_learned_after_a_reset_is_extra_and_nobody_is_called_missing() -> None:
    """The board was reset and two were taught by hand before the gateway looked."""
    house = house_with(REPORT)
    async with run_in(house):
        await apply(house)
        board(house).reset()
        board(house).learn(STRANGER, 1, 1)
        board(house).learn(BERTH, 1, 1)
        await look(house)
        assert {item.serial for item in house.drift.open()} == {STRANGER}
        await house.clock.run(house.waiting.approve(SLIP_GATE, "roster", asked_by="office"))
        await apply(house)
        assert house.held() == WITH_STRANGER


async def test_a_memory_that_is_empty_all_at_once_counts_as_reset() -> None:
    """The ring had turned over, so nobody knows who did it; still nothing is given back by itself."""
    house = house_with(REMOVE)
    house.rosters.put(roster(*(entry(serial) for serial in range(101, 105))))
    async with run_in(house):
        await apply(house)
        board(house).reset()
        board(house).restart()
        await look(house)
        with pytest.raises(Refused):
            await apply(house)


async def test_a_replaced_receiver_is_written_only_after_somebody_accepts_it() -> None:
    """Another serial answers: told, refused, and brought to the roster once confirmed. Local removals still stand."""
    house = house_with(REMOVE)
    async with run_in(house):
        await apply(house)
        takes_one_away(house)
        await look(house)
        board(house).replace_with("FQ-0099")
        with pytest.raises(Refused) as refused:
            await apply(house)
        assert refused.value.code == "receiver-unconfirmed"
        (told,) = house.store.journal.all(EventName.RECEIVER_REPLACED)
        assert (told.data["known"], told.data["answers"]) == ("FQ-0001", "FQ-0099")
        assert house.held() == {}
        await house.clock.run(house.keeper.confirm(SLIP_GATE))
        await house.clock.settle()
        await apply(house)
        assert house.held() == WITHOUT_BERTH
        assert only(house).state is DriftState.STANDS
