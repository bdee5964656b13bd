"""Restoring: what a receiver holds afterwards, what stays out, who waits, and what a cut leaves behind."""

from __future__ import annotations

import asyncio
import contextlib

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gateway.domain.events import EventDraft, EventName
from gateway.domain.matching import same_memory
from gateway.domain.plan import ChangeKind, PlanState
from gateway.domain.receiver import Origin, OutputMode, Slot
from gateway.errors import LinkLost, NoAnswer, Refused
from gateway.ports import Commit, RestoreOrder
from tests.fakes.archive_house import ArchiveHouse, fill
from tests.fakes.clock import FakeClock
from tests.fakes.receipts import MemoryReceipts
from tests.fakes.receiver import FakeReceiver, some_slot
from tests.fakes.sync_house import entry, quay_receiver, roster, run_in


def house_with(*slots: Slot, frame_s: float = 0.0) -> ArchiveHouse:
    clock = FakeClock()
    receiver = quay_receiver(clock=clock)
    receiver.frame_s = frame_s
    fill(receiver, *slots)
    return ArchiveHouse([receiver], clock=clock)


def people(count: int) -> tuple[Slot, ...]:
    return tuple(some_slot(number, 100 + number, [(1, 1)], f"Berth {number}") for number in range(1, count + 1))


def only(house: ArchiveHouse) -> FakeReceiver:
    return house.receivers["slip-gate"]


async def restored(house: ArchiveHouse, snapshot: str, *, with_settings: bool = False) -> PlanState:
    return (await house.restore(RestoreOrder("slip-gate", snapshot, settings=with_settings))).state


async def test_a_restore_brings_every_slot_back_as_it_was() -> None:
    """Moved, changed, added and lost ones, with flags and maker bytes; the snapshot before it is the way back."""
    slots = (
        Slot(3, 101, 4, (frozenset({1}), frozenset({2})), "Berth 1", 7, b"\x01"),
        some_slot(9, 102, [(2, 3)], "Berth 2"),
        some_slot(10, 103, [(1, 1)], "Berth 3"),
    )
    house = house_with(*slots)
    taken = await house.take()
    board = only(house).board
    for number in (3, 9, 10):
        board.put(number, None, Origin.LINE)
    fill(only(house), some_slot(3, 102, [(2, 3)], "Berth 2"), some_slot(5, 999), some_slot(10, 103, [(1, 2)], "B"))
    async with run_in(house):
        plan = await house.restore(RestoreOrder("slip-gate", taken.id))
        assert plan.state is PlanState.APPLIED
        assert same_memory(board.slots, {slot.number: slot for slot in slots})
        assert (await house.shelf.compare(taken.id, "slip-gate")).alike
        assert plan.reason == "restore"
        back = await house.restore(RestoreOrder("slip-gate", plan.snapshot))
    assert back.state is PlanState.APPLIED
    assert {n: slot.serial for n, slot in board.slots.items()} == {3: 102, 5: 999, 10: 103}


async def test_restores_and_clones_have_receipts_of_their_own() -> None:
    """What was brought back is named; whether it is equal to the roster is said. Also with nothing to write."""
    clock, receipts = FakeClock(), MemoryReceipts()
    receivers = [quay_receiver(name, clock=clock) for name in ("slip-gate", "car-park")]
    fill(receivers[0], *people(4))
    house = ArchiveHouse(receivers, clock=clock, receipts=receipts)
    house.rosters.put(roster(*(entry(serial) for serial in (101, 102))))
    taken = await house.take()
    fill(receivers[0], some_slot(9, 900))
    async with run_in(house):
        first = await house.restore(RestoreOrder("slip-gate", taken.id))
        again = await house.restore(RestoreOrder("slip-gate", taken.id))
        clone = await house.restore(RestoreOrder("car-park", taken.id, way="replace"))
    statements = [kept.document["receipt"] for kept in receipts.kept]
    assert [plan.receipt for plan in (first, again, clone)] == [kept.id for kept in receipts.kept]
    assert all(f"Receipt {plan.receipt}." in plan.outcome for plan in (first, again, clone))
    told = [(each["done"], each["snapshot"], each["plan"]["written"]) for each in statements]
    assert told == [("restore", taken.id, 1), ("restore", taken.id, 0), ("clone", taken.id, 4)]
    assert [each["roster"]["equal"] for each in statements] == [False, False, False]
    stated = await receivers[1].read_block_crcs()
    assert statements[2]["memory"]["block_crc32"] == [f"{crc:08x}" for crc in stated.crcs]


async def test_a_transmitter_that_only_moves_is_no_loss() -> None:
    """The guard counts what people lose: swapped slots of everybody are written at once."""
    house = house_with(*people(6))
    taken = await house.take()
    for number in range(1, 7):
        only(house).board.put(number, None, Origin.LINE)
    fill(only(house), *(some_slot(7 - n, 100 + n, [(1, 1)], f"Berth {n}") for n in range(1, 7)))
    async with run_in(house):
        plan = await house.clock.run(house.desk.start(RestoreOrder("slip-gate", taken.id), asked_by="Kim"))
        assert plan.state is PlanState.PENDING
        assert not [change for change in plan.changes if change.guarded]
        assert (await house.end_of(plan)).state is PlanState.APPLIED
    assert only(house).board.slots == {slot.number: slot for slot in people(6)}


async def test_a_restore_that_takes_much_away_is_held_like_any_plan() -> None:
    """Nothing is written until somebody approves; then it goes ahead."""
    house = house_with(*people(2))
    taken = await house.take()
    fill(only(house), *(some_slot(10 + n, 500 + n) for n in range(6)))
    async with run_in(house):
        held = await house.restore(RestoreOrder("slip-gate", taken.id), approve=False)
        assert (held.state, held.count(ChangeKind.REMOVED)) == (PlanState.HELD, 6)
        assert only(house).write_frames == 0
        assert house.waiting.all()["slip-gate"].plan == held.id
        await house.clock.run(house.runner.approve(held.id, asked_by="Kim"))
        await house.clock.advance(5)
    assert house.store.plans.kept[held.id].state is PlanState.APPLIED
    assert only(house).board.slots == {slot.number: slot for slot in people(2)}


async def test_what_is_revoked_stays_out_and_is_said() -> None:
    """Rule 5: a lost transmitter does not come back by a restore, and the preview names it."""
    house = house_with(*people(4))
    taken = await house.take()
    async with run_in(house):
        await house.clock.run(house.revoker.revoke(102, asked_by="Kim", reason="lost"))
        await house.clock.advance(5)
        only(house).board.put(3, None, Origin.LINE)
        preview = await house.clock.run(house.desk.preview(RestoreOrder("slip-gate", taken.id)))
        assert any("0000000102" in words and "revoked" in words for words in preview.plan.left_out)
        assert await restored(house, taken.id) is PlanState.APPLIED
    assert house.held().keys() == {101, 103, 104}


async def test_a_revocation_in_the_middle_of_a_restore_is_kept_to() -> None:
    """Made while frames are under way: whatever was planned, the serial is out at the end and nowhere in between after
    its proof."""
    house = house_with(*people(12), frame_s=0.2)
    taken = await house.take()
    for number in range(1, 13):
        only(house).board.put(number, None, Origin.LINE)
    async with run_in(house):
        plan = await house.clock.run(house.desk.start(RestoreOrder("slip-gate", taken.id), asked_by="Kim"))
        await house.clock.advance(0.5)
        await house.clock.run(house.revoker.revoke(111, asked_by="Kim", reason="lost"))
        ended = await house.end_of(plan)
        await house.clock.advance(10)
    assert ended.state is PlanState.APPLIED
    assert house.held().keys() == set(range(101, 113)) - {111}
    assert any("0000000111" in words for words in ended.left_out)


async def test_the_roster_waits_after_a_restore_until_it_is_approved() -> None:
    """Timetable, all receivers at once and a plan asked for: nothing is written; approved, it goes on."""
    house = house_with(*people(3))
    taken = await house.take()
    house.rosters.put(roster(*(entry(serial) for serial in (101, 102, 103, 104))))
    only(house).board.put(3, None, Origin.LINE)
    async with run_in(house):
        assert await restored(house, taken.id) is PlanState.APPLIED
        frames = only(house).write_frames
        outcome = (await house.clock.run(house.runner.apply_all()))["slip-gate"]
        assert isinstance(outcome, Refused)
        assert outcome.code == "roster-waits"
        with pytest.raises(Refused, match="waits at slip-gate"):
            await house.clock.run(house.runner.start("slip-gate", asked_by="Kim"))
        await house.store.journal.commit(Commit(events=(EventDraft(EventName.CLOCK_TRUSTED),)))
        await house.clock.advance(5)
        assert only(house).write_frames == frames
        again = house.restarted()
        assert again.waiting.all()["slip-gate"].snapshot == taken.id
        await house.waiting.approve("slip-gate", "roster", asked_by="Kim")
        assert house.waiting.all() == {}
        assert (await house.clock.run(house.runner.apply("slip-gate"))).state is PlanState.APPLIED
    assert house.held().keys() == {101, 102, 103, 104}
    raised = house.store.journal.all(EventName.ROSTER_PAUSED, EventName.ROSTER_RESUMED)
    assert [(event.name.value, event.data["reason"]) for event in raised] == [
        ("roster.paused", "restore"),
        ("roster.resumed", "restore"),
    ]
    assert not house.store.journal.all(EventName.PLAN_FAILED), "a wait is a state, not a failure"


async def test_the_snapshot_approved_stays_until_another_roster_is_accepted() -> None:
    """The roster that was passed over is never brought there; the next one is."""
    house = house_with(*people(3))
    taken = await house.take()
    house.rosters.put(roster(*(entry(serial) for serial in (101, 102, 103, 104)), digest="old"))
    async with run_in(house):
        assert await restored(house, taken.id) is PlanState.APPLIED
        await house.waiting.approve("slip-gate", "snapshot", asked_by="Kim")
        with pytest.raises(Refused, match="waits"):
            await house.clock.run(house.runner.apply("slip-gate"))
        house.rosters.put(roster(*(entry(serial) for serial in (101, 102, 103, 105)), digest="new"))
        assert house.waiting.all() == {}
        assert (await house.clock.run(house.runner.apply("slip-gate"))).state is PlanState.APPLIED
        house.rosters.put(roster(*(entry(serial) for serial in (101, 102, 103, 104)), digest="old"))
        assert (await house.clock.run(house.runner.apply("slip-gate"))).state is PlanState.APPLIED
    assert house.held().keys() == {101, 102, 103, 104}


async def test_the_wait_outlives_the_database() -> None:
    """Like a revocation it is in the ledger."""
    house = house_with(*people(3))
    taken = await house.take()
    async with run_in(house):
        await restored(house, taken.id)
    house.store.lose_database()
    again = house.restarted()
    again.rosters.put(roster(entry(101)))
    with pytest.raises(Refused, match="waits"):
        await again.clock.run(again.runner.apply("slip-gate"))


async def test_a_held_roster_plan_gives_way_to_a_restore() -> None:
    """What waited for approval before does not come alive behind it; approving the roster ends a held restore."""
    house = house_with(*people(10))
    taken = await house.take()
    house.rosters.put(roster(entry(101)))
    async with run_in(house):
        held = await house.clock.run(house.runner.apply("slip-gate"))
        assert held.state is PlanState.HELD
        fill(only(house), *(some_slot(20 + n, 500 + n) for n in range(6)))
        waiting = await house.restore(RestoreOrder("slip-gate", taken.id), approve=False)
        assert waiting.state is PlanState.HELD
        assert house.store.plans.kept[held.id].state is PlanState.SUPERSEDED
        await house.waiting.approve("slip-gate", "roster", asked_by="Kim")
        assert house.store.plans.kept[waiting.id].state is PlanState.SUPERSEDED
        with pytest.raises(Refused, match="superseded"):
            await house.clock.run(house.runner.approve(waiting.id, asked_by="Kim"))


async def test_settings_come_back_when_asked_for_and_the_password_never() -> None:
    """On-times and the board's lock, read back; without the word they stay as they are."""
    house = house_with(*people(1))
    board = only(house).board
    board.change_on_time(2, 45, Origin.LINE)
    board.allow_local_programming(False)
    board.set_password("old")
    only(house).known_password = "old"
    taken = await house.take()
    board.reset(Origin.BOARD)
    async with run_in(house):
        assert await restored(house, taken.id) is PlanState.APPLIED
        assert (board.on_times_s, board.local_programming) == ([5, 5, 5], True)
        preview = await house.clock.run(house.desk.preview(RestoreOrder("slip-gate", taken.id, settings=True)))
        assert len(preview.settings) == 2
        assert any("link password" in words for words in preview.notes)
        assert await restored(house, taken.id, with_settings=True) is PlanState.APPLIED
    assert (board.on_times_s, board.local_programming, board.password) == ([5, 45, 5], False, "")
    assert (await house.shelf.compare(taken.id, "slip-gate")).alike


async def test_modes_to_set_at_the_board_are_told_first() -> None:
    """Gatepost can't turn a selector; the preview says which to turn."""
    house = house_with(*people(1))
    only(house).board.set_mode(2, OutputMode.LATCHING)
    watching = asyncio.ensure_future(house.watch.run())
    try:
        await house.clock.advance(2)
        taken = await house.take()
        only(house).board.set_mode(2, OutputMode.MOMENTARY)
        await house.clock.advance(2)
        preview = await house.clock.run(house.desk.preview(RestoreOrder("slip-gate", taken.id)))
    finally:
        watching.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await watching
    assert preview.board == ("Set output 2 (light) to latching at the board; it is momentary now.",)


async def test_a_replacement_is_one_order() -> None:
    """A new board after lightning: previewed without being confirmed, then confirmed, filled and set in one go."""
    house = house_with(*people(5))
    only(house).board.change_on_time(1, 12, Origin.LINE)
    taken = await house.take()
    only(house).board.replace_with("FQ-0099")
    order = RestoreOrder("slip-gate", taken.id, settings=True, replacement="FQ-0099")
    async with run_in(house):
        with pytest.raises(Refused, match="Another receiver"):
            await house.clock.run(house.desk.preview(RestoreOrder("slip-gate", taken.id)))
        preview = await house.clock.run(house.desk.preview(RestoreOrder("slip-gate", taken.id, replacement="")))
        assert (preview.answers.serial, preview.unconfirmed) == ("FQ-0099", True)
        assert preview.plan.count(ChangeKind.ADDED) == 5
        mirror = house.store.mirrors.load("slip-gate")
        assert mirror is not None
        assert (mirror.identity.serial, only(house).write_frames) == ("FQ-0001", 0)
        wrong = RestoreOrder("slip-gate", taken.id, replacement="FQ-0098")
        with pytest.raises(Refused) as refused:
            await house.clock.run(house.desk.start(wrong, asked_by="Kim"))
        assert refused.value.code == "identity-differs"
        assert house.waiting.all() == {}
        assert (await house.restore(order)).state is PlanState.APPLIED
    assert only(house).board.slots == {slot.number: slot for slot in people(5)}
    assert only(house).board.on_times_s[0] == 12
    assert (await house.shelf.compare(taken.id, "slip-gate")).alike


async def test_a_snapshot_of_another_receiver_needs_the_word_for_it() -> None:
    """A restore by a slip of the hand is refused; replace and merge are words of their own."""
    clock = FakeClock()
    house = ArchiveHouse([quay_receiver("slip-gate", clock=clock), quay_receiver("car-park", clock=clock)], clock=clock)
    fill(house.receivers["slip-gate"], *people(2))
    taken = await house.take("slip-gate")
    with pytest.raises(Refused) as refused:
        await house.clock.run(house.desk.preview(RestoreOrder("car-park", taken.id)))
    assert refused.value.code == "snapshot-of-another"
    async with run_in(house):
        plan = await house.restore(RestoreOrder("car-park", taken.id, way="replace"))
    assert (plan.state, plan.reason) == (PlanState.APPLIED, "clone")
    assert house.held("car-park").keys() == {101, 102}
    assert house.waiting.all()["car-park"].reason == "clone"


async def test_nothing_is_planned_beside_a_plan_that_is_written() -> None:
    """A second restore, and a reset, are refused while the first one runs."""
    house = house_with(*people(12), frame_s=0.2)
    taken = await house.take()
    for number in range(1, 13):
        only(house).board.put(number, None, Origin.LINE)
    async with run_in(house):
        plan = await house.clock.run(house.desk.start(RestoreOrder("slip-gate", taken.id), asked_by="Kim"))
        await house.clock.advance(0.3)
        with pytest.raises(Refused) as refused:
            await house.clock.run(house.desk.start(RestoreOrder("slip-gate", taken.id), asked_by="Kim"))
        assert refused.value.code == "plan-running"
        with pytest.raises(Refused):
            await house.clock.run(house.clearing.reset("slip-gate", typed="slip-gate", asked_by="Kim"))
        assert (await house.end_of(plan)).state is PlanState.APPLIED


# --- cut in the middle ---


@pytest.mark.parametrize("skip", range(36))
async def test_a_cut_at_any_frame_ends_whole(skip: int) -> None:
    """The line goes for one frame, whichever, before or after it took effect: at the end memory and settings are those
    of the snapshot."""
    house = house_with(*people(9), frame_s=0.05)
    only(house).board.change_on_time(3, 77, Origin.LINE)
    taken = await house.take()
    only(house).board.reset(Origin.BOARD)
    fill(only(house), some_slot(2, 900))
    async with run_in(house):
        plan = await house.clock.run(
            house.desk.start(RestoreOrder("slip-gate", taken.id, settings=True), asked_by="Kim")
        )
        only(house).fail(skip=skip // 2, after=bool(skip % 2))
        if plan.state is PlanState.HELD:
            plan = await house.clock.run(house.runner.approve(plan.id, asked_by="Kim"))
        assert (await house.end_of(plan)).state is PlanState.APPLIED
    assert not only(house)._faults, "the cut never came"
    assert only(house).board.slots == {slot.number: slot for slot in people(9)}
    assert only(house).board.on_times_s == [5, 5, 77]


@pytest.mark.parametrize("after_s", [0.05, 0.25, 0.45, 0.75, 1.05, 1.55, 2.05, 2.55])
async def test_a_killed_gateway_finishes_the_restore_after_its_start(after_s: float) -> None:
    """Between any two frames: the next gateway goes on to the snapshot, not to the roster."""
    house = house_with(*people(9), frame_s=0.1)
    only(house).board.change_on_time(3, 77, Origin.LINE)
    taken = await house.take()
    for number in range(1, 10):
        only(house).board.put(number, None, Origin.LINE)
    only(house).board.change_on_time(3, 5, Origin.LINE)
    house.rosters.put(roster(entry(700)))
    async with run_in(house):
        plan = await house.clock.run(
            house.desk.start(RestoreOrder("slip-gate", taken.id, settings=True), asked_by="Kim")
        )
        await house.clock.advance(after_s)
    again = house.restarted()
    await again.resume()
    async with run_in(again):
        await again.clock.run(again.runner.apply_all())
        assert (await again.end_of(plan)).state is PlanState.APPLIED
    assert only(house).board.slots == {slot.number: slot for slot in people(9)}
    assert only(house).board.on_times_s == [5, 5, 77]


async def test_a_restore_that_lost_its_receiver_is_taken_up_when_the_link_is_back() -> None:
    """Away for longer than the patience: the plan fails and says so, a new one with the same targets finishes."""
    house = house_with(*people(9), frame_s=0.1)
    taken = await house.take()
    for number in range(1, 10):
        only(house).board.put(number, None, Origin.LINE)
    async with run_in(house):
        plan = await house.clock.run(house.desk.start(RestoreOrder("slip-gate", taken.id), asked_by="Kim"))
        await house.clock.advance(0.35)
        only(house).link_error = LinkLost("The adapter is gone.")
        assert (await house.end_of(plan)).state is PlanState.FAILED
        only(house).no_faults()
        await house.store.journal.commit(Commit(events=(EventDraft(EventName.LINK_RESTORED, "slip-gate"),)))
        await house.clock.advance(30)
    assert only(house).board.slots == {slot.number: slot for slot in people(9)}
    newest = list(house.store.plans.kept.values())[-1]
    assert (newest.state, newest.reason) == (PlanState.APPLIED, "restore")
    assert house.waiting.all()["slip-gate"].plan == newest.id


async def test_a_failed_restore_is_taken_up_by_the_next_gateway_too() -> None:
    """Nothing in memory is needed for it."""
    house = house_with(*people(9), frame_s=0.1)
    taken = await house.take()
    for number in range(1, 10):
        only(house).board.put(number, None, Origin.LINE)
    async with run_in(house):
        plan = await house.clock.run(house.desk.start(RestoreOrder("slip-gate", taken.id), asked_by="Kim"))
        only(house).link_error = NoAnswer("Silence.")
        assert (await house.end_of(plan)).state is PlanState.FAILED
    only(house).no_faults()
    again = house.restarted()
    await again.resume()
    async with run_in(again):
        await again.clock.advance(30)
    assert only(house).board.slots == {slot.number: slot for slot in people(9)}


@pytest.mark.parametrize("killed", [False, True])
async def test_a_restore_that_meets_another_hand_ends_and_the_roster_stays_away(killed: bool) -> None:
    """Somebody learns a stranger into a slot that the snapshot wants: the restore ends with words, nobody's slot is
    taken without a word, and the roster is not brought in its place, neither now nor after a restart."""
    house = house_with(*people(9), frame_s=0.1)
    taken = await house.take()
    for number in range(1, 10):
        only(house).board.put(number, None, Origin.LINE)
    house.rosters.put(roster(entry(700)))
    async with run_in(house):
        plan = await house.clock.run(house.desk.start(RestoreOrder("slip-gate", taken.id), asked_by="Kim"))
        await house.clock.advance(0.35)
        fill(only(house), some_slot(9, 999))
        if not killed:
            plan = await house.end_of(plan)
            await house.clock.advance(10)
    if killed:
        again = house.restarted()
        await again.resume()
        async with run_in(again):
            plan = await again.end_of(plan)
            await again.clock.advance(10)
    assert plan.state is PlanState.SUPERSEDED
    assert "restore again" in plan.outcome
    held = {slot.serial for slot in only(house).board.slots.values()}
    assert 999 in held
    assert 700 not in held


async def test_a_held_restore_whose_slots_were_done_meanwhile_still_sets_its_settings() -> None:
    """Approved when only the settings are left."""
    house = house_with(*people(2))
    only(house).board.change_on_time(1, 60, Origin.LINE)
    taken = await house.take()
    only(house).board.change_on_time(1, 5, Origin.LINE)
    fill(only(house), *(some_slot(10 + n, 500 + n) for n in range(6)))
    async with run_in(house):
        held = await house.restore(RestoreOrder("slip-gate", taken.id, settings=True), approve=False)
        assert held.state is PlanState.HELD
        for n in range(6):
            only(house).board.put(10 + n, None, Origin.LINE)
        await house.clock.run(house.runner.approve(held.id, asked_by="Kim"))
        await house.clock.advance(5)
    assert house.store.plans.kept[held.id].state is PlanState.APPLIED
    assert only(house).board.on_times_s[0] == 60


async def test_a_held_restore_does_not_hold_what_the_roster_is_asked_for() -> None:
    """A look at the roster's own plan says what the roster's guard says, not the restore's."""
    house = house_with(*people(20))
    taken = await house.take()
    fill(only(house), *(some_slot(30 + n, 500 + n) for n in range(8)))
    async with run_in(house):
        held = await house.restore(RestoreOrder("slip-gate", taken.id), approve=False)
        assert held.state is PlanState.HELD
        house.rosters.put(roster(*(entry(serial) for serial in (*range(101, 121), *range(500, 507)))))
        preview = await house.clock.run(house.runner.preview("slip-gate"))
    assert (preview.count(ChangeKind.REMOVED), preview.hold) == (1, "")


# --- any snapshot ---

_PAIRS = st.frozensets(st.tuples(st.integers(1, 8), st.integers(1, 3)), min_size=1, max_size=3)
_MEMORIES = st.dictionaries(
    st.integers(1, 16),
    st.builds(
        lambda serial, pairs, name, flags: (serial, pairs, name, flags),
        st.integers(1, 12),
        _PAIRS,
        st.sampled_from(["", "Berth", "Hoist crew"]),
        st.integers(0, 3),
    ),
    max_size=12,
)


def memory_of(plain: dict[int, tuple[int, frozenset[tuple[int, int]], str, int]]) -> dict[int, Slot]:
    made = {}
    for number, (serial, pairs, name, flags) in plain.items():
        slot = some_slot(number, serial, pairs, name)
        made[number] = Slot(number, serial, slot.kind, slot.outputs, name, flags)
    return made


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(before=_MEMORIES, now=_MEMORIES, revoked=st.frozensets(st.integers(1, 12), max_size=2), late=st.booleans())
async def test_any_restore_then_a_comparison_finds_nothing_but_the_revoked(
    before: dict[int, tuple[int, frozenset[tuple[int, int]], str, int]],
    now: dict[int, tuple[int, frozenset[tuple[int, int]], str, int]],
    revoked: frozenset[int],
    late: bool,
) -> None:
    """From any memory back to any other, doubles included; no revoked serial is ever in it afterwards."""
    house = house_with(*memory_of(before).values())
    taken = await house.take()
    board = only(house).board
    for number in list(board.slots):
        board.put(number, None, Origin.LINE)
    fill(only(house), *memory_of(now).values())
    async with run_in(house):
        if not late:
            for serial in revoked:
                await house.clock.run(house.revoker.revoke(serial, asked_by="Kim", reason="lost"))
        plan = await house.clock.run(house.desk.start(RestoreOrder("slip-gate", taken.id), asked_by="Kim"))
        if plan.state is PlanState.HELD:
            plan = await house.clock.run(house.runner.approve(plan.id, asked_by="Kim"))
        if late:
            for serial in revoked:
                await house.clock.run(house.revoker.revoke(serial, asked_by="Kim", reason="lost"))
        await house.clock.advance(60)
        ended = house.store.plans.kept.get(plan.id, plan)
        assert ended.state is PlanState.APPLIED, ended.outcome
        await house.clock.run(house.keeper.refresh("slip-gate"))
        compared = await house.shelf.compare(taken.id, "slip-gate")
    assert {difference.serial for difference in compared.slots} <= revoked
    assert all(difference.kind == "missing" for difference in compared.slots)
    assert not {slot.serial for slot in board.slots.values()} & revoked
