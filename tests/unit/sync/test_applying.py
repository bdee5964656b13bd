"""Plans reach the receiver's memory through any fault, and nothing is written twice without need."""

from __future__ import annotations

import random
from typing import Literal

import pytest

from gateway.domain.events import EventName
from gateway.domain.plan import PlanState
from gateway.domain.receiver import Capability, Origin
from gateway.domain.urgency import Urgency
from gateway.errors import GatepostError, NoAnswer, NotProven, ReceiverException, ReceiverRefused
from gateway.ports import BlockCrcs
from tests.fakes.clock import FakeClock
from tests.fakes.receiver import FakeReceiver, some_slot
from tests.fakes.sync_house import SyncHouse, entry, quay_receiver, roster

Held = dict[int, dict[int, frozenset[int]]]


def small_case() -> tuple[SyncHouse, FakeReceiver]:
    """A memory with people who stay, change and go in three blocks, and a roster with newcomers."""
    clock = FakeClock()
    receiver = quay_receiver(clock=clock)
    for number in range(1, 18):
        receiver.board.put(number, some_slot(number, number, name=f"Berth {number}"), Origin.LINE)
    house = SyncHouse([receiver], clock=clock)
    changed = [entry(serial, "1:slip-gate/gate 2:slip-gate/light") for serial in (3, 11, 16)]
    same = [entry(serial) for serial in range(1, 18) if serial not in (3, 7, 9, 11, 16)]
    house.rosters.put(roster(*same, *changed, *(entry(serial, "3:slip-gate/boat-hoist") for serial in range(30, 36))))
    return house, receiver


SMALL_END: Held = (
    {serial: {1: frozenset({1})} for serial in range(1, 18) if serial not in (3, 7, 9, 11, 16)}
    | {serial: {1: frozenset({1}), 2: frozenset({2})} for serial in (3, 11, 16)}
    | {serial: {3: frozenset({3})} for serial in range(30, 36)}
)
SMALL_WRITES = 9  # two newcomers take the places of the two who go


async def test_a_plan_is_applied_proven_and_told() -> None:
    """Memory, mirror, snapshot, journal and the plan kept agree; a second run writes nothing."""
    house, receiver = small_case()
    steps: list[tuple[int, int, str]] = []
    plan = await house.runner.apply("slip-gate", progress=lambda *step: steps.append(step))
    assert (plan.state, house.held()) == (PlanState.APPLIED, SMALL_END)
    assert receiver.slot_writes == SMALL_WRITES
    mirror = house.store.mirrors.load("slip-gate")
    assert mirror is not None
    assert mirror.slots == receiver.board.slots
    assert mirror.revision == receiver.board.revision
    (event,) = house.store.journal.all(EventName.PLAN_APPLIED)
    assert (event.data["plan"], event.data["added"], event.data["removed"]) == (plan.id, 6, 2)
    snapshot = await house.store.snapshots.read(plan.snapshot)
    assert len(snapshot.slots) == 17
    assert steps[-1][:2] == (11, 11)
    frames = receiver.frames
    again = await house.runner.apply("slip-gate")
    assert (again.changes, again.unchanged, receiver.slot_writes) == ((), 21, SMALL_WRITES)
    assert receiver.frames - frames <= 6
    assert house.store.journal.all(EventName.DRIFT_FOUND) == []
    assert len(house.store.plans.kept) == 1


async def test_the_whole_plan_is_durable_before_its_first_write() -> None:
    """With targets, snapshot and state; and slot changes are journaled per block, not per slot."""
    house, receiver = small_case()
    receiver.fail(NoAnswer("silence"), method="write_slots", times=10_000)
    await house.clock.run(house.runner.apply("slip-gate"), limit_s=600)
    first = house.store.plans.saved[0]
    assert first.state is PlanState.PENDING
    assert len(first.changes) == 11
    assert first.snapshot
    assert receiver.slot_writes == 0


@pytest.mark.parametrize("slots_per_write", [1, 3, 4, 8, 16])
async def test_after_a_plan_the_mirror_is_proven_and_nothing_is_read_again(slots_per_write: int) -> None:
    """Whether or not frames end where blocks end: the next run asks for the sums and reads no slot."""
    clock = FakeClock()
    receiver = FakeReceiver(clock=clock, limits=quay_receiver().board.limits, slots_per_write=slots_per_write)
    house = SyncHouse([receiver], clock=clock)
    house.rosters.put(roster(*(entry(serial) for serial in range(1, 50))))
    await house.runner.apply("slip-gate")
    reads = receiver.frames_of["read_slots"]
    await house.runner.apply("slip-gate")
    assert receiver.frames_of["read_slots"] == reads


async def test_slot_changes_are_journaled_per_block() -> None:
    """Nine slots in three blocks, in three passes: at most one event for each block and pass."""
    house, _ = small_case()
    await house.runner.apply("slip-gate")
    events = house.store.journal.all(EventName.SLOT_CHANGED)
    assert sum(len(event.data["slots"]) for event in events) == SMALL_WRITES
    assert len(events) < SMALL_WRITES
    assert {event.data["origin"] for event in events} == {"line"}


Fault = Literal["before", "after", "power"]


def order_fault(receiver: FakeReceiver, kind: Fault, frame: int) -> None:
    """Before: the frame never arrives. After: it works and the answer is lost. Power: cut in the middle of a write."""
    if kind == "power":
        receiver.fail(skip=frame, method="write_slots", slots_done=1)
    else:
        receiver.fail(skip=frame, after=kind == "after")


async def frames_of_whole_run() -> int:
    house, receiver = small_case()
    await house.runner.apply("slip-gate")
    return receiver.frames


@pytest.mark.parametrize("kind", ["before", "after", "power"])
async def test_a_cut_at_every_frame_ends_in_the_same_memory(kind: Fault) -> None:
    """Exhaustive over a small plan: equal end, no slot written again, no drift of our own making."""
    frames = await frames_of_whole_run()
    cuts = 0
    for frame in range(frames):
        house, receiver = small_case()
        order_fault(receiver, kind, frame)
        try:
            plan = await house.clock.run(house.runner.apply("slip-gate"))
        except NoAnswer:  # cut before there was a plan: nothing is written, the next run does it all
            assert receiver.slot_writes == 0
            plan = await house.runner.apply("slip-gate")
        else:
            cuts += 1
        assert (plan.state, house.held()) == (PlanState.APPLIED, SMALL_END), f"frame {frame}"
        assert receiver.slot_writes == SMALL_WRITES, f"frame {frame}"
        assert house.store.journal.all(EventName.DRIFT_FOUND) == [], f"frame {frame}"
        mirror = house.store.mirrors.load("slip-gate")
        assert mirror is not None
        assert mirror.slots == receiver.board.slots
        assert house.store.plans.kept[plan.id].state is PlanState.APPLIED
    assert cuts > 0


@pytest.mark.parametrize("frame", range(4))
async def test_without_an_event_ring_our_own_cut_writes_are_still_known_as_ours(frame: int) -> None:
    """The memory alone tells: what holds the plan's target is recorded as written over the line."""
    house, receiver = small_case()
    receiver._capabilities = receiver.capabilities - {Capability.EVENTS}
    receiver.fail(skip=frame, method="write_slots", after=True)
    plan = await house.clock.run(house.runner.apply("slip-gate"))
    assert (plan.state, house.held(), receiver.slot_writes) == (PlanState.APPLIED, SMALL_END, SMALL_WRITES)
    changes = house.store.journal.all(EventName.SLOT_CHANGED)
    assert {event.data["origin"] for event in changes} == {"line"}


async def test_a_line_that_stays_dead_ends_the_plan_with_what_to_do() -> None:
    """After the patience the plan has failed; the next run writes the rest."""
    house, receiver = small_case()

    def die(done: int, total: int, words: str) -> None:
        if done == 4:
            receiver.link_error = NoAnswer("The receiver did not answer.", remedy="Check its power.")

    plan = await house.clock.run(house.runner.apply("slip-gate", progress=die), limit_s=600)
    assert plan.state is PlanState.FAILED
    assert "Check its power" in plan.outcome
    (event,) = house.store.journal.all(EventName.PLAN_FAILED)
    assert event.data["remedy"] == "Check its power."
    receiver.no_faults()
    assert (await house.runner.apply("slip-gate")).state is PlanState.APPLIED
    assert house.held() == SMALL_END


class ForgetfulReceiver(FakeReceiver):
    """Acknowledges every slot and keeps none."""

    async def write_slots(self, slots, freed, seen, *, urgency=Urgency.BULK) -> None:  # type: ignore[no-untyped-def]
        self.write_frames += 1


async def test_a_memory_that_does_not_keep_what_it_acknowledged_is_given_up_after_three_tries() -> None:
    """plan.failed says so, and what to do."""
    clock = FakeClock()
    receiver = ForgetfulReceiver(clock=clock)
    house = SyncHouse([receiver], clock=clock)
    house.rosters.put(roster(entry(1)))
    plan = await clock.run(house.runner.apply("slip-gate"))
    assert (plan.state, receiver.write_frames) == (PlanState.FAILED, 3)
    assert "memory may be worn out" in plan.outcome


class LyingReceiver(FakeReceiver):
    """States wrong sums for its first block once it has been written."""

    async def read_block_crcs(self, *, urgency: Urgency = Urgency.CONTROL) -> BlockCrcs:
        stated = await super().read_block_crcs(urgency=urgency)
        return BlockCrcs(stated.revision, (stated.crcs[0] ^ self.slot_writes, *stated.crcs[1:]))


async def test_sums_that_never_agree_end_the_plan() -> None:
    """Read back right and never proven by its CRC is not applied."""
    clock = FakeClock()
    receiver = LyingReceiver(clock=clock)
    house = SyncHouse([receiver], clock=clock)
    house.rosters.put(roster(entry(1)))
    plan = await clock.run(house.runner.apply("slip-gate"))
    assert plan.state is PlanState.FAILED
    assert receiver.slot_writes == 1


async def test_board_work_during_a_plan_is_never_overwritten() -> None:
    """A slot that changed since is refused by the receiver; the plan is made anew with what is there now."""
    house, receiver = small_case()

    def teach(done: int, total: int, words: str) -> None:
        if done == 4:
            receiver.board.learn(16, 3, 3)  # slot 16 is still to be changed by the plan
            receiver.board.learn(4, 2, 2)  # slot 4 is none of the plan's

    plan = await house.clock.run(house.runner.apply("slip-gate", progress=teach))
    assert plan.state is PlanState.APPLIED
    assert house.held() == SMALL_END
    drift = house.store.journal.all(EventName.DRIFT_FOUND)
    assert {slot["slot"] for event in drift for slot in event.data["slots"]} == {16, 4}


async def test_new_unknown_slots_during_a_plan_meet_the_guard_anew() -> None:
    """Learning twenty people at the board while a plan runs does not get them removed unasked."""
    house, receiver = small_case()
    taught = False

    def teach(done: int, total: int, words: str) -> None:
        nonlocal taught
        if done >= 4 and not taught:
            taught = True
            for serial in range(500, 520):
                receiver.board.learn(serial, 1, 1)

    plan = await house.clock.run(house.runner.apply("slip-gate", progress=teach))
    assert plan.state is PlanState.HELD
    assert set(range(500, 520)) <= house.held().keys()
    assert SMALL_END.keys() <= house.held().keys()


async def test_a_new_roster_during_a_plan_takes_its_place() -> None:
    """The plan is superseded at the next round, and a new one brings the roster now in force."""
    house, receiver = small_case()
    receiver.fail(method="write_slots", skip=1)

    def renew(done: int, total: int, words: str) -> None:
        if "Trying again" in words:
            house.rosters.put(roster(*(entry(serial) for serial in range(1, 18)), digest="d2"))

    plan = await house.clock.run(house.runner.apply("slip-gate", progress=renew))
    assert (plan.state, plan.roster_digest) == (PlanState.APPLIED, "d2")
    assert house.held() == {serial: {1: frozenset({1})} for serial in range(1, 18)}
    assert [p.state for p in house.store.plans.kept.values()] == [PlanState.SUPERSEDED, PlanState.APPLIED]


@pytest.mark.parametrize(
    ("error", "ends"),
    [
        (ReceiverException("busy", function=16, exception=6), PlanState.APPLIED),
        (ReceiverException("failure", function=16, exception=4), PlanState.FAILED),
        (ReceiverRefused("busy", code="busy"), PlanState.APPLIED),
        (ReceiverRefused("locked", code="password-refused"), PlanState.FAILED),
        (NotProven("not kept"), PlanState.APPLIED),
    ],
)
async def test_which_refusals_are_waited_out(error: GatepostError, ends: PlanState) -> None:
    """Busy is waited for (Modbus V1.1b3, section 7, exceptions 05 and 06), a password or a failing device is not."""
    house, receiver = small_case()
    receiver.fail(error, method="write_slots", skip=1)
    plan = await house.clock.run(house.runner.apply("slip-gate"))
    assert plan.state is ends


async def test_a_full_disk_in_the_middle_is_waited_out() -> None:
    """What was written is recorded once there is room, and is not taken for drift."""
    house, receiver = small_case()

    def fill(done: int, total: int, words: str) -> None:
        if done == 4:
            house.store.journal.fail_commits = 3

    plan = await house.clock.run(house.runner.apply("slip-gate", progress=fill))
    assert (plan.state, house.held(), receiver.slot_writes) == (PlanState.APPLIED, SMALL_END, SMALL_WRITES)
    assert house.clock.now() > plan.created, "the full disk was never met"
    assert house.store.journal.all(EventName.DRIFT_FOUND) == []


@pytest.mark.parametrize("seed", range(12))
async def test_random_memories_rosters_and_faults(seed: int) -> None:
    """Large and random: many faults of all kinds, equal in the end, then nothing left to write."""
    rng = random.Random(seed)
    clock = FakeClock()
    receiver = quay_receiver(slots=128, clock=clock)
    for number in rng.sample(range(1, 129), 60):
        pairs = [(rng.randint(1, 4), rng.randint(1, 3)) for _ in range(2)]
        receiver.board.put(number, some_slot(number, rng.randint(1, 150), pairs), Origin.LINE)
    outputs = ("gate", "light", "boat-hoist")
    rows = [
        entry(serial, " ".join(f"{p}:slip-gate/{rng.choice(outputs)}" for p in rng.sample(range(1, 5), 2)))
        for serial in rng.sample(range(1, 150), 90)
    ]
    house = SyncHouse([receiver], clock=clock, patience_s=900.0)
    house.rosters.put(roster(*rows))
    await house.keeper.refresh("slip-gate")
    for _ in range(8):
        order_fault(receiver, rng.choice(["before", "after", "power"]), rng.randint(0, 12))
    while True:
        try:
            plan = await clock.run(house.runner.apply("slip-gate", approve=True))
            break
        except NoAnswer:
            continue
    receiver.no_faults()
    assert plan.state is PlanState.APPLIED
    assert house.held().keys() == {row.serial for row in rows}
    writes = receiver.slot_writes
    assert (await house.runner.apply("slip-gate")).changes == ()
    assert receiver.slot_writes == writes
