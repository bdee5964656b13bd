"""Every condition in virtual time: raised once when it holds, cleared once when it ends, over restarts too."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from datetime import timedelta

import pytest

from gateway.domain.condition import CONDITIONS, ConditionKind, ConditionLimits, Ending
from gateway.domain.events import EventDraft, EventName, Span
from gateway.domain.gate import Closing
from gateway.domain.live import LinkState
from gateway.errors import NotFound, Refused, StoreUnavailable
from gateway.watch.conditions.rules import RULES
from gateway.watch.conditions.words import _SENTENCES
from tests.fakes.condition_bench import (
    CLOSED,
    EXIT,
    OPENED,
    POWER,
    SAFETY,
    TAMPER,
    ConditionBench,
    draft,
)

Step = Callable[[ConditionBench], Awaitable[None]]
STRANGER, LOST = 77, 48_231_999
LIMITS = ConditionLimits(unused_days=1, clock_s=600, noise_window_s=120)


@dataclass(frozen=True)
class Case:
    """`cause` brings it about, `due_s` later it is raised; `cure` ends it, at once or after `ends_s`."""

    kind: ConditionKind
    cause: Step
    cure: Step
    due_s: float = 0.0
    ends_s: float = 0.0
    outlives_silence: bool = True


async def _open_with_press(bench: ConditionBench) -> None:
    await bench.press()
    await bench.contact(CLOSED, True)


async def _rest_open_then_work(bench: ConditionBench) -> None:
    await _open_with_press(bench)
    await bench.clock.advance(30)
    await bench.output()


async def _three_strange_presses(bench: ConditionBench) -> None:
    for _ in range(3):
        await bench.press(STRANGER, known=False)
        await bench.clock.advance(10)


async def _use_revoked(bench: ConditionBench) -> None:
    bench.revoked.add(LOST)
    await bench.press(LOST)


async def _three_cycles(bench: ConditionBench) -> None:
    for _ in range(3):
        await bench.press()
        await bench.contact(CLOSED, True)
        await bench.contact(CLOSED, False)


async def _reset_at_the_board(bench: ConditionBench) -> None:
    slot = {"slot": 1, "what": "removed", "serial": f"{LOST:010d}", "origin": "board", "reset": True}
    await bench.happen(draft(EventName.SLOT_CHANGED, block=0, slots=[slot], origin="board", revision=9))
    await bench.happen(draft(EventName.DRIFT_FOUND, slots=[slot], drift=[], words=[], revision=9, cleared=True))


async def _taught_at_the_board(bench: ConditionBench) -> None:
    slot = {"slot": 1, "what": "added", "serial": f"{LOST:010d}", "origin": "board"}
    await bench.happen(draft(EventName.DRIFT_FOUND, slots=[slot], words=[], revision=9))


async def _noise(bench: ConditionBench) -> None:
    bench.noise(1000, 0)
    await bench.clock.advance(25)
    bench.noise(2000, 100)


async def _silence_of_noise(bench: ConditionBench) -> None:
    for more in range(1, 12):
        bench.noise(2000 + more * 1000, 100)
        await bench.clock.advance(25)


async def _acknowledge(bench: ConditionBench) -> None:
    for each in bench.watch.open():
        await bench.watch.acknowledge(each.id, name="Harbour office", note="looked at it")


def _press(battery: str) -> Step:
    async def step(bench: ConditionBench) -> None:
        await bench.press(LOST, battery=battery)

    return step


def _contact(number: int, violated: bool, **more: int) -> Step:
    async def step(bench: ConditionBench) -> None:
        await bench.contact(number, violated, **more)

    return step


def _link(state: LinkState) -> Step:
    async def step(bench: ConditionBench) -> None:
        bench.link(state)

    return step


async def _know(bench: ConditionBench) -> None:
    bench.known = {LOST}


async def _lose_clock(bench: ConditionBench) -> None:
    bench.trust.trusted = False


async def _find_clock(bench: ConditionBench) -> None:
    bench.trust.trusted = True


async def _nothing(bench: ConditionBench) -> None:
    """Time alone."""


CASES = (
    Case(ConditionKind.LEFT_OPEN, _open_with_press, _contact(CLOSED, False), due_s=300),
    Case(ConditionKind.DID_NOT_OPEN, ConditionBench.output, _contact(CLOSED, True), due_s=23),
    Case(ConditionKind.DID_NOT_CLOSE, _rest_open_then_work, _contact(CLOSED, False), due_s=23),
    Case(ConditionKind.OPENED_WITHOUT_COMMAND, _contact(CLOSED, True), _contact(CLOSED, False), due_s=2),
    Case(ConditionKind.CONTACTS_CONTRADICT, _contact(OPENED, True), _contact(OPENED, False), due_s=5),
    Case(ConditionKind.CHATTER, _contact(TAMPER, False, changes=50), _nothing, ends_s=95),
    Case(ConditionKind.TAMPER, _contact(TAMPER, True), _contact(TAMPER, False)),
    Case(ConditionKind.SAFETY_VIOLATED, _contact(SAFETY, True), _contact(SAFETY, False), due_s=60),
    Case(ConditionKind.POWER_LOST, _contact(POWER, True), _contact(POWER, False), due_s=10),
    Case(ConditionKind.RECEIVER_SILENT, _link(LinkState.SILENT), _link(LinkState.ONLINE), due_s=65, ends_s=5),
    Case(ConditionKind.LINE_NOISY, _noise, _silence_of_noise, due_s=25),
    Case(ConditionKind.UNKNOWN_REPEATED, _three_strange_presses, _acknowledge),
    Case(ConditionKind.REVOKED_USED, _use_revoked, _acknowledge),
    Case(ConditionKind.TRANSMITTER_UNUSED, _know, ConditionBench.press, due_s=86_405),
    Case(ConditionKind.SERVICE_DUE, _three_cycles, _acknowledge),
    Case(ConditionKind.BOARD_RESET, _reset_at_the_board, _acknowledge),
    Case(ConditionKind.DRIFT_OPEN, _taught_at_the_board, _acknowledge),
    Case(ConditionKind.BATTERY_LOW, _press("low"), _press("good")),
    Case(ConditionKind.CLOCK_UNTRUSTED, _lose_clock, _find_clock, due_s=605, ends_s=5),
)
each_case = pytest.mark.parametrize("case", CASES, ids=lambda case: case.kind.value)


async def _hear_again(bench: ConditionBench, case: Case) -> None:
    if case.kind is ConditionKind.TRANSMITTER_UNUSED:
        await bench.press(LOST)
    else:
        await case.cure(bench)


def test_every_condition_has_a_rule_words_and_a_case() -> None:
    """None can be added without its rule, its sentence and its test."""
    kinds = set(ConditionKind)
    assert {kind for kinds_of_rule in RULES for kind in kinds_of_rule} == kinds
    assert set(_SENTENCES) == set(CONDITIONS) == kinds
    assert {case.kind for case in CASES} == kinds


@each_case
async def test_it_is_raised_once_and_cleared_once(case: Case) -> None:
    """Not before it is due, once when it is, and cleared when it ends; nothing else is raised by it."""
    bench = ConditionBench(limits=LIMITS)
    async with bench.run():
        await case.cause(bench)
        if case.due_s > 6:
            await bench.clock.advance(case.due_s - 6)
            assert bench.told() == []
            await bench.clock.advance(6)
        else:
            await bench.clock.advance(case.due_s)
        assert bench.told() == [("condition.raised", case.kind.value)]
        raised = bench.only()
        assert raised.sentence.endswith(".")
        assert raised.since <= raised.raised
        await bench.clock.advance(4)
        assert len(bench.told()) == 1
        await _hear_again(bench, case)
        await bench.clock.advance(case.ends_s)
        assert bench.told() == [("condition.raised", case.kind.value), ("condition.cleared", case.kind.value)]
        assert bench.watch.open() == ()
        (cleared,) = bench.watch.recent()
        assert (cleared.id, cleared.key) == (raised.id, raised.key)
        assert [event.data["id"] for event in bench.events()] == [raised.id, raised.id]


@each_case
@pytest.mark.parametrize("reboot", [False, True], ids=["restart", "reboot"])
async def test_it_stays_open_over_a_restart(case: Case, reboot: bool) -> None:
    """Raised before, it is not raised again after; and what ends afterwards is cleared."""
    bench = ConditionBench(limits=LIMITS)
    async with bench.run():
        await case.cause(bench)
        await bench.clock.advance(case.due_s)
        before = bench.only()
        await bench.restart(20, reboot=reboot)
        await bench.clock.advance(4)
        assert bench.watch.open() == (before,)
        await _hear_again(bench, case)
        await bench.clock.advance(case.ends_s)
        assert bench.told() == [("condition.raised", case.kind.value), ("condition.cleared", case.kind.value)]


@pytest.mark.parametrize("reboot", [False, True], ids=["restart", "reboot"])
async def test_time_goes_on_while_the_gateway_is_off(reboot: bool) -> None:
    """A gate open for 200 s, then 200 s without a gateway, is left open; its limit is 300 s."""
    bench = ConditionBench()
    async with bench.run():
        await _open_with_press(bench)
        since = bench.clock.now()
        await bench.clock.advance(200)
        assert bench.told() == []
        await bench.restart(200, reboot=reboot)
        await bench.clock.advance(1)
        assert bench.only().kind is ConditionKind.LEFT_OPEN
        assert bench.only().since == since


def _late(bench: ConditionBench, name: EventName, ago_s: float, **data: object) -> EventDraft:
    then = bench.clock.now() - timedelta(seconds=ago_s)
    return draft(name, Span(then, then), **data)


@pytest.mark.parametrize(
    ("number", "kind"),
    [
        (CLOSED, ConditionKind.LEFT_OPEN),
        (TAMPER, ConditionKind.TAMPER),
        (SAFETY, ConditionKind.SAFETY_VIOLATED),
        (POWER, ConditionKind.POWER_LOST),
    ],
)
async def test_late_is_not_live(number: int, kind: ConditionKind) -> None:
    """What is read after a gap raises nothing when it is over by then, and counts from when it was when it is not."""
    bench = ConditionBench()
    async with bench.run():
        await bench.happen(
            _late(bench, EventName.TRANSMITTER_HEARD, 3601, serial="0048231907", outputs=[1], known=True),
            _late(bench, EventName.INPUT_CHANGED, 3600, input=number, violated=True),
            _late(bench, EventName.INPUT_CHANGED, 1800, input=number, violated=False),
        )
        await bench.clock.advance(10)
        assert bench.told() == []
        began = bench.clock.now() - timedelta(seconds=900)
        await bench.happen(
            _late(bench, EventName.TRANSMITTER_HEARD, 901, serial="0048231907", outputs=[1], known=True),
            _late(bench, EventName.INPUT_CHANGED, 900, input=number, violated=True),
        )
        assert bench.told() == [("condition.raised", kind.value)]
        assert bench.only().since == began


async def test_what_nobody_saw_is_history_after_a_start() -> None:
    """Events that a gateway which was off never took in raise only what still holds at their end."""
    bench = ConditionBench()
    async with bench.run():
        await bench.stop()
        await bench.happen(draft(EventName.INPUT_CHANGED, input=TAMPER, violated=True))
        await bench.happen(draft(EventName.INPUT_CHANGED, input=TAMPER, violated=False))
        await bench.happen(draft(EventName.INPUT_CHANGED, input=POWER, violated=True))
        await bench.clock.advance(60)
        await bench.start()
        assert bench.told() == [("condition.raised", "power-lost")]


async def test_a_short_violation_is_raised_and_cleared() -> None:
    """Live, a housing that is opened and shut between two looks is told, in order."""
    bench = ConditionBench()
    async with bench.run():
        await bench.happen(
            draft(EventName.INPUT_CHANGED, input=TAMPER, violated=True),
            draft(EventName.INPUT_CHANGED, input=TAMPER, violated=False),
        )
        assert bench.told() == [("condition.raised", "tamper"), ("condition.cleared", "tamper")]


@pytest.mark.parametrize("what", ["press", "output", "exit"])
@pytest.mark.parametrize("order", ["before", "after"])
async def test_a_command_explains_an_opening(what: str, order: str) -> None:
    """A transmitter, an output or an exit input before it, or in the same moment after it for polls have no order."""
    bench = ConditionBench()
    commands: dict[str, Step] = {
        "press": ConditionBench.press,
        "output": ConditionBench.output,
        "exit": _contact(EXIT, True),
    }
    async with bench.run():
        if order == "before":
            await commands[what](bench)
            await bench.clock.advance(10)
            await bench.contact(CLOSED, True)
        else:
            await bench.contact(CLOSED, True)
            await bench.clock.advance(1)
            await commands[what](bench)
        await bench.clock.advance(30)
        assert bench.told() == []


async def test_a_command_long_before_explains_nothing() -> None:
    """The window is 30 s."""
    bench = ConditionBench()
    async with bench.run():
        await bench.press()
        await bench.clock.advance(31)
        await bench.contact(CLOSED, True)
        await bench.clock.advance(2)
        assert bench.open() == ["opened-without-command"]


async def test_an_opening_after_lost_events_accuses_nobody() -> None:
    """The press may be among what the ring lost."""
    bench = ConditionBench()
    async with bench.run():
        await bench.happen(draft(EventName.RING_OVERRUN, lost=40, next_event=90))
        await bench.contact(CLOSED, True)
        await bench.clock.advance(10)
        assert bench.told() == []


async def test_pressing_again_does_not_put_off_the_verdict() -> None:
    """Somebody who presses every 5 s at a gate that does not open is heard after its travel time."""
    bench = ConditionBench()
    async with bench.run():
        for _ in range(5):
            await bench.output()
            await bench.output(closed=False)
            await bench.clock.advance(5)
        assert bench.open() == ["did-not-open"]


async def test_a_gate_that_shuts_by_itself_need_not_answer_when_open() -> None:
    """An output that works while it is open may only lengthen its pause."""
    bench = ConditionBench(closing=Closing.BY_ITSELF)
    async with bench.run():
        await _rest_open_then_work(bench)
        await bench.clock.advance(60)
        assert bench.told() == []


async def test_an_output_that_works_while_it_moves_promises_nothing() -> None:
    """It may stop the gate or turn it round."""
    bench = ConditionBench()
    async with bench.run():
        await _open_with_press(bench)
        await bench.clock.advance(10)
        await bench.output()
        await bench.clock.advance(60)
        assert bench.told() == []


async def test_what_a_silent_receiver_would_say_is_not_guessed() -> None:
    """While it can't be read nothing about its gate is raised or cleared; read again, what holds is."""
    bench = ConditionBench()
    async with bench.run():
        await bench.output()
        await bench.happen(draft(EventName.LINK_LOST, state="silent"))
        bench.link(LinkState.SILENT)
        await bench.clock.advance(200)
        assert bench.open() == ["receiver-silent"]
        bench.link(LinkState.ONLINE)
        await bench.clock.advance(10)
        assert bench.open() == []
        await bench.contact(TAMPER, True)
        bench.link(LinkState.SILENT)
        await bench.clock.advance(30)
        assert bench.open() == ["tamper"]


async def test_a_gate_found_open_counts_from_the_first_look() -> None:
    """Nobody saw it open, so nobody is accused; but its limit runs."""
    bench = ConditionBench()
    bench.levels[CLOSED - 1] = True
    bench.link(LinkState.ONLINE)
    async with bench.run():
        await bench.clock.advance(299)
        assert bench.told() == []
        await bench.clock.advance(2)
        assert bench.open() == ["left-open"]


async def test_taking_note_of_a_state_does_not_end_it() -> None:
    """It is noted with name and note, stays open until it ends, and is noted once."""
    bench = ConditionBench()
    async with bench.run():
        await bench.contact(TAMPER, True)
        found = await bench.watch.acknowledge(bench.only().id, name="Harbour office", note="painter at work")
        assert found.acknowledged is not None
        assert (found.acknowledged.name, found.acknowledged.note) == ("Harbour office", "painter at work")
        assert bench.only() == found
        (noted,) = bench.store.journal.all(EventName.CONDITION_ACKNOWLEDGED)
        assert noted.data["note"] == "painter at work"
        with pytest.raises(Refused) as refusal:
            await bench.watch.acknowledge(found.id, name="x", note="y")
        assert refusal.value.code == "acknowledged-already"
        await bench.restart()
        assert bench.only() == found
        await bench.contact(TAMPER, False)
        with pytest.raises(Refused) as refusal:
            await bench.watch.acknowledge(found.id, name="x", note="y")
        assert refusal.value.code == "condition-cleared"
        with pytest.raises(NotFound):
            await bench.watch.acknowledge("m1-c99", name="x", note="y")


async def test_lifting_a_revocation_ends_what_its_use_raised() -> None:
    """The transmitter is in the right hands again."""
    bench = ConditionBench()
    async with bench.run():
        await _use_revoked(bench)
        bench.revoked.clear()
        await bench.clock.advance(5)
        assert bench.told()[-1] == ("condition.cleared", "revoked-used")


async def test_what_is_revoked_once_more_was_not_used_since() -> None:
    """Lifted and revoked again: the old press is no news; the next one is."""
    bench = ConditionBench()
    async with bench.run():
        await _use_revoked(bench)
        bench.revoked.clear()
        await bench.clock.advance(5)
        told = len(bench.told())
        bench.revoked.add(LOST)
        await bench.clock.advance(60)
        assert bench.told()[told:] == []
        await _use_revoked(bench)
        assert bench.told()[told:] == [("condition.raised", "revoked-used")]


async def test_drift_ends_when_nothing_of_it_is_left() -> None:
    """The receiver is as the roster says again."""
    bench = ConditionBench()
    async with bench.run():
        await _taught_at_the_board(bench)
        await bench.happen(draft(EventName.DRIFT_SETTLED, serial=f"{LOST:010d}", left=1))
        assert bench.told()[-1] == ("condition.raised", "drift-open")
        await bench.happen(draft(EventName.DRIFT_DECIDED, serial=f"{LOST:010d}", left=0))
        assert bench.told()[-1] == ("condition.cleared", "drift-open")


async def test_a_full_disk_delays_and_loses_nothing() -> None:
    """Nothing is told while the journal can't be written; then it is, once, and still true."""
    bench = ConditionBench()
    async with bench.run():
        await _open_with_press(bench)
        bench.store.journal.full = True
        await bench.clock.advance(400)
        assert bench.watch.open() == ()
        bench.store.journal.full = False
        await bench.clock.advance(3)
        assert bench.told() == [("condition.raised", "left-open")]
        bench.store.journal.full = True
        with pytest.raises(StoreUnavailable):
            await bench.watch.acknowledge(bench.only().id, name="x", note="y")
        bench.store.journal.full = False
        assert bench.only().acknowledged is None


async def test_raised_and_document_are_one_commit() -> None:
    """No power cut can separate what was told from what is remembered."""
    bench = ConditionBench()
    async with bench.run():
        await bench.contact(TAMPER, True)
        commits = [
            commit
            for commit in bench.store.journal.commits
            if any(each.name is EventName.CONDITION_RAISED for each in commit.events)
        ]
        assert [list(commit.documents) for commit in commits] == [["conditions"]]


async def test_what_is_raised_during_a_visit_is_marked() -> None:
    """So that its report is a test."""
    bench = ConditionBench()
    bench.visited = frozenset({"slip-gate"})
    async with bench.run():
        await bench.contact(TAMPER, True)
        assert bench.only().visit
        assert bench.events()[0].data["visit"] is True


async def test_idle_writes_little() -> None:
    """A day in which nothing happens costs a document an hour."""
    bench = ConditionBench()
    async with bench.run():
        await bench.clock.advance(6 * 3600)
        assert len(bench.store.journal.commits) <= 7
        assert all(commit.events == () for commit in bench.store.journal.commits)


def test_endings_are_told_apart() -> None:
    """What tells of a past happening ends by being noted; everything else by itself."""
    noted = {kind for kind, row in CONDITIONS.items() if row.ending is Ending.ACKNOWLEDGED}
    assert noted == {
        ConditionKind.UNKNOWN_REPEATED,
        ConditionKind.REVOKED_USED,
        ConditionKind.SERVICE_DUE,
        ConditionKind.BOARD_RESET,
        ConditionKind.DRIFT_OPEN,
        ConditionKind.BATTERY_LOW,
    }


async def test_a_lost_database_begins_anew() -> None:
    """What holds is raised again under a new epoch's id."""
    bench = ConditionBench()
    async with bench.run():
        await bench.contact(TAMPER, True)
        first = bench.only().id
        await bench.stop()
        bench.store.lose_database()
        await bench.start()
        assert bench.open() == ["tamper"]
        assert bench.only().id != first


async def test_the_first_event_after_a_start_counts() -> None:
    """An output that works before the first look's time has come is expected to be answered all the same."""
    bench = ConditionBench()
    bench.link(LinkState.CONNECTING)
    async with bench.run():
        await bench.clock.advance(1)
        bench.link(LinkState.ONLINE)
        await bench.output()
        await bench.clock.advance(23)
        assert bench.open() == ["did-not-open"]


async def test_a_poll_that_is_ahead_of_its_events_hides_no_change() -> None:
    """Output and contact in one commit, first of all: the gate answered, and nothing is wrong."""
    bench = ConditionBench()
    bench.link(LinkState.CONNECTING)
    async with bench.run():
        bench.link(LinkState.ONLINE)
        await bench.happen(
            draft(EventName.OUTPUT_CHANGED, output=1, closed=True),
            draft(EventName.INPUT_CHANGED, input=CLOSED, violated=True),
        )
        await bench.clock.advance(60)
        assert bench.told() == []
        assert bench.watch.gates.gate("slip-gate").cycles == 1


async def test_a_low_battery_is_one_condition_until_a_press_says_good() -> None:
    """More presses say no more, one that says nothing of its battery ends nothing, taking note ends it."""
    async with ConditionBench().run() as bench:
        for battery in ("low", "low", "unknown"):
            await bench.press(LOST, battery=battery)
        (raised,) = bench.watch.open()
        assert raised.sentence == f"The battery of transmitter {LOST:010d} is low, heard at Slip Gate; have it changed."
        await _acknowledge(bench)
        assert bench.watch.open() == ()
        await bench.press(LOST, battery="low")
        assert len(bench.watch.open()) == 1
        await bench.press(LOST, battery="good")
        assert bench.watch.open() == ()


async def test_a_state_that_outlasts_a_visit_is_raised_once_more_in_earnest() -> None:
    """Told as a test while people work there; when they have gone and it is still there it is an alarm."""
    bench = ConditionBench()
    async with bench.run():
        bench.visited = frozenset({"slip-gate"})
        await bench.contact(TAMPER, violated=True)
        await bench.clock.advance(10)
        assert [event.data.get("visit", False) for event in bench.events()] == [True]
        bench.visited = frozenset()
        await bench.clock.advance(10)
        marks = [(event.name.value, event.data.get("visit", False)) for event in bench.events()]
        assert marks == [
            ("condition.raised", True), ("condition.cleared", True), ("condition.raised", False),
        ]  # fmt: skip
        first, _, second = bench.events()
        assert first.data["id"] != second.data["id"]
        await bench.contact(TAMPER, violated=False)
        await bench.clock.advance(10)
        assert bench.events()[-1].data.get("visit", False) is False
        assert bench.open() == []


async def test_what_people_tried_out_is_no_alarm_when_they_have_gone() -> None:
    """A revoked transmitter pressed during a visit stays a test: it tells of a happening, not of a state."""
    bench = ConditionBench()
    bench.revoked = {48_231_907}
    async with bench.run():
        bench.visited = frozenset({"slip-gate"})
        await bench.press()
        await bench.clock.advance(10)
        bench.visited = frozenset()
        await bench.clock.advance(60)
        assert [(event.name.value, event.data.get("visit", False)) for event in bench.events()] == [
            ("condition.raised", True)
        ]
