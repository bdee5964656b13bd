"""Operating an output from afar: one closure, and every refusal by its own code.

The refusals and their letters are those of the table in docs/operating.md (usual practice for powered gates: EN 12453,
UL 325, 16 CFR 1211.14); here each is met once, in virtual time.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import Any

import pytest

from gateway.domain.events import EventName
from gateway.domain.live import LinkState
from gateway.domain.operation import OperationState, Warning
from gateway.domain.receiver import OutputMode
from gateway.errors import BrokenAnswer, GatepostError, LinkLost, NoAnswer, ReceiverRefused, Unsupported, WrongAnswer
from tests.fakes.operating_bench import OperatingBench

Change = Callable[[OperatingBench], None]


async def refused(bench: OperatingBench, **more: Any) -> GatepostError:
    """What the desk says; nothing was sent, the audit has it, and it says what to do."""
    before = len(bench.gate.sent)
    with pytest.raises(GatepostError) as caught:
        await bench.operate(**more)
    assert len(bench.gate.sent) == before
    assert caught.value.remedy
    assert [row.outcome for row in bench.audit.rows[-2:]] == ["asked", caught.value.code]
    assert not bench.store.journal.all(EventName.OUTPUT_OPERATED)
    return caught.value


def meanwhile(bench: OperatingBench, change: Change, wait_s: float = 0.0) -> None:
    """What happens while the order waits for the line."""

    async def happen() -> None:
        await bench.clock.sleep(wait_s)
        change(bench)

    bench.gate.meanwhile = happen


async def test_one_closure_is_sent_kept_told_and_audited() -> None:
    """A timed output by its own on-time; the operation says so afterwards, also after a restart."""
    bench = OperatingBench()
    done = await bench.operate(key="k1")
    assert done.state is OperationState.DONE
    assert done.seconds == bench.gate.board.on_times_s[0]
    [(output, tenths, _)] = bench.gate.sent
    assert (output, tenths) == (1, 0)
    (event,) = bench.store.journal.all(EventName.OUTPUT_OPERATED)
    assert event.receiver == "slip-gate"
    assert event.data == {
        "operation": done.id, "output": 1, "name": "gate", "seconds": 5.0, "outcome": "done", "asked_by": "token:1",
        "reason": "a delivery",
    }  # fmt: skip
    assert [(row.what, row.outcome) for row in bench.audit.rows] == [
        ("output.operated", "asked"), ("output.operated", "done"),
    ]  # fmt: skip
    assert bench.new_desk().operation(done.id) == done


async def test_two_closures_have_two_nonces() -> None:
    """A repeated nonce does nothing at the receiver, so each order has its own."""
    bench = OperatingBench()
    await bench.operate()
    await bench.clock.advance(30)
    await bench.operate()
    first, second = bench.gate.sent
    assert first[2] != second[2]


# --- before the line ---


@pytest.mark.parametrize(
    ("code", "more"),
    [
        ("output-not-allowed", {"output": 2}),  # (a)
        ("output-not-allowed", {"output": 4}),  # (a) without a name
        ("stop-not-operated", {"output": 3}),  # (l) whatever the settings say
        ("no-reason", {"reason": "  "}),  # (h)
        ("operator-gone", {"still_may": lambda: False}),  # (h)
        ("order-too-old", {"asked_s": 994.9}),  # (e) the clock begins at 1000
        ("closure-too-long", {"seconds": 5.1}),  # (b) the on-time is 5 s
        ("closure-too-long", {"seconds": 0.0}),
        ("not-found", {"output": 9}),
    ],
)
async def test_what_the_order_itself_is_refused_for(code: str, more: dict[str, Any]) -> None:
    """Each with its code; nothing is sent."""
    bench = OperatingBench()
    if code == "not-found":
        with pytest.raises(GatepostError) as caught:
            await bench.operate(**more)
        assert caught.value.code == code
        return
    assert (await refused(bench, **more)).code == code


async def test_a_receiver_without_such_a_closure_is_never_operated() -> None:
    """A plain relay board would need two writes, and the second may not come."""
    bench = OperatingBench()
    with pytest.raises(Unsupported):
        await bench.operate(receiver="boathouse")


@pytest.mark.parametrize("link", [LinkState.SILENT, LinkState.PORT_LOST, LinkState.PORT_BUSY, LinkState.CONNECTING])
async def test_d_nothing_is_sent_over_a_line_that_is_lost(link: LinkState) -> None:
    """Nobody knows then how the gate stands."""
    bench = OperatingBench()
    bench.live.kept["slip-gate"] = bench.heard("slip-gate", link)
    assert (await refused(bench)).code == "receiver-not-reached"


async def test_d_nor_to_another_receiver() -> None:
    """Neither to one that is not the known one, nor to one that nobody has confirmed."""
    bench = OperatingBench()
    mirror = bench.store.mirrors.kept["slip-gate"]
    bench.live.kept["slip-gate"] = bench.heard("slip-gate", LinkState.WRONG_RECEIVER)
    assert (await refused(bench)).code == "receiver-unconfirmed"
    bench.live.kept["slip-gate"] = bench.heard("slip-gate")
    bench.store.mirrors.kept["slip-gate"] = replace(mirror, confirmed=False)
    assert (await refused(bench)).code == "receiver-unconfirmed"


async def test_d_nor_while_a_plan_is_written() -> None:
    """The memory changes under it."""
    bench = OperatingBench()
    bench.planning = True
    assert (await refused(bench)).code == "plan-being-written"


async def test_f_a_key_is_good_for_one_closure_over_restarts() -> None:
    """For a day; another caller's key is another key, and one whose order was refused is free again."""
    bench = OperatingBench()
    bench.planning = True
    await refused(bench, key="k1")
    bench.planning = False
    done = await bench.operate(key="k1")
    await bench.clock.advance(60)
    bench.store.journal._events.clear()
    fault = await refused(bench, key="k1")
    assert fault.code == "operation-repeated"
    assert done.id in fault.message
    bench.desk = bench.new_desk()
    assert (await refused(bench, key="k1")).code == "operation-repeated"
    assert (await bench.operate(key="k1", asked_by="token:2")).state is OperationState.DONE
    await bench.clock.advance(24 * 3600 + 1)
    assert (await bench.operate(key="k2")).state is OperationState.DONE
    await bench.clock.advance(60)
    assert (await bench.operate(key="k1")).state is OperationState.DONE


async def test_g_one_operation_of_an_output_in_ten_seconds() -> None:
    """Counted over a restart of the program, and from its start after one of the machine."""
    bench = OperatingBench()
    await bench.operate()
    bench.store.journal._events.clear()
    await bench.clock.advance(9.9)
    assert (await refused(bench)).code == "operated-just-now"
    bench.desk = bench.new_desk()
    assert (await refused(bench)).code == "operated-just-now"
    bench.boot_id = "boot-2"
    bench.desk = bench.new_desk()
    await bench.clock.advance(9.9)
    assert (await refused(bench)).code == "operated-just-now"
    await bench.clock.advance(0.2)
    assert (await bench.operate()).state is OperationState.DONE


async def test_g_six_in_a_minute_for_a_token() -> None:
    """The seventh waits; another token does not."""
    bench = OperatingBench()
    bench.gate.board.on_times_s[0] = 1
    bench.live.kept["slip-gate"] = bench.heard("slip-gate")
    for _ in range(5):
        await bench.operate()
        await bench.clock.advance(10.0)
    await bench.operate()
    await bench.clock.advance(9.99)
    bench.store.journal._events.clear()
    assert (await refused(bench)).code == "operated-just-now"
    await bench.clock.advance(0.005)
    # six so far, the first of them 59.995 s ago
    fault = await refused(bench)
    assert fault.code in ("operated-too-often", "operated-just-now")
    await bench.clock.advance(0.01)
    assert (await bench.operate(asked_by="token:2")).state is OperationState.DONE


# --- in the hold of the line ---


def _turn(mode: OutputMode) -> Change:
    return lambda bench: bench.gate.board.set_mode(1, mode)


def _violate(bench: OperatingBench) -> None:
    bench.gate.board.set_input(2, violated=True)


def _violate_there(bench: OperatingBench) -> None:
    bench.boathouse.board.set_input(1, violated=True)


def _lose_the_boathouse(bench: OperatingBench) -> None:
    bench.live.kept["boathouse"] = bench.heard("boathouse", LinkState.SILENT)


def _lose_inputs(bench: OperatingBench) -> None:
    bench.gate.board.inputs[:] = bench.gate.board.inputs[:1]


def _close(bench: OperatingBench) -> None:
    bench.gate.board.close_output(1)


@pytest.mark.parametrize(
    ("code", "change"),
    [
        ("latching-not-operated", _turn(OutputMode.LATCHING)),  # (b)
        ("safety-input-violated", _violate),  # (c)
        ("safety-input-violated", _violate_there),  # (c) on another receiver
        ("safety-not-known", _lose_the_boathouse),  # (c)
        ("safety-not-known", _lose_inputs),  # (c)
        ("output-on-already", _close),  # (j) it would hold it on
    ],
)
async def test_what_stands_against_it(code: str, change: Change) -> None:
    """Found when it is asked for."""
    bench = OperatingBench()
    change(bench)
    if code != "safety-not-known" or change is _lose_inputs:
        bench.live.kept["slip-gate"] = bench.heard("slip-gate")
    fault = await refused(bench)
    assert fault.code == code
    (kept,) = bench.desk.recent("slip-gate", 1)
    assert (kept.state, kept.code) == (OperationState.REFUSED, code)


def _restart(bench: OperatingBench) -> None:
    bench.gate.board.restart()


def _replace(bench: OperatingBench) -> None:
    bench.gate.board.identity = replace(bench.gate.board.identity, serial="FQ-0002")


def _change(bench: OperatingBench) -> None:
    bench.gate.board.change_on_time(1, 60)


def _plan(bench: OperatingBench) -> None:
    bench.planning = True


@pytest.mark.parametrize(
    ("code", "change"),
    [
        ("safety-input-violated", _violate),  # (c)
        ("receiver-just-started", _restart),  # (d)
        ("receiver-unconfirmed", _replace),  # (d)
        ("receiver-just-changed", _change),  # (d)
        ("receiver-just-changed", _turn(OutputMode.MOMENTARY)),
        ("plan-being-written", _plan),  # (d)
        ("output-on-already", _close),  # (j)
    ],
)
async def test_what_changes_while_it_waits_for_its_turn(code: str, change: Change) -> None:
    """Found in the hold itself, right before it would have been sent."""
    bench = OperatingBench()
    meanwhile(bench, change)
    assert (await refused(bench)).code == code


async def test_c_a_safety_input_elsewhere_must_be_as_young_as_two_polls() -> None:
    """At five polls a second: 0.4 s. What is read in the hold itself has no age."""
    bench = OperatingBench()
    meanwhile(bench, lambda _: None, wait_s=0.41)
    assert (await refused(bench)).code == "safety-too-old"
    meanwhile(bench, lambda _: None, wait_s=0.39)
    assert (await bench.operate()).state is OperationState.DONE


async def test_e_an_order_that_waits_for_too_long_is_dropped() -> None:
    """Its turn came after 5 s; it is not sent then, and not kept for later."""
    bench = OperatingBench()
    meanwhile(bench, lambda _: None, wait_s=5.1)
    fault = await refused(bench)
    assert fault.code == "order-too-old"
    await bench.clock.advance(60)
    assert not bench.gate.sent


async def test_b_a_momentary_output_closes_for_ten_seconds_at_most() -> None:
    """For one second when nobody says how long."""
    bench = OperatingBench()
    _turn(OutputMode.MOMENTARY)(bench)
    bench.live.kept["slip-gate"] = bench.heard("slip-gate")
    assert (await refused(bench, seconds=10.1)).code == "closure-too-long"
    assert (await bench.operate()).seconds == 1.0
    await bench.clock.advance(30)
    assert (await bench.operate(seconds=10.0)).seconds == 10.0
    assert [sent[1] for sent in bench.gate.sent] == [10, 100]


async def test_b_a_mode_that_is_not_known_is_not_operated() -> None:
    """A map that can't tell it."""
    bench = OperatingBench()
    bench.gate.board.modes.clear()
    bench.live.kept["slip-gate"] = bench.heard("slip-gate")
    assert (await refused(bench)).code == "mode-not-known"


# --- at most once ---


@pytest.mark.parametrize(
    "error",
    [NoAnswer("It did not answer."), BrokenAnswer("Noise came."), LinkLost("It was unplugged."), WrongAnswer("Other.")],
)
async def test_an_answer_that_is_lost_is_told_as_not_known(error: GatepostError) -> None:
    """Sent once and never again; event, operation and audit say that nobody knows, and the pause counts."""
    bench = OperatingBench()
    bench.gate.fail(error, method="operate", after=True)
    with pytest.raises(NoAnswer) as caught:
        await bench.operate(key="k1")
    assert caught.value.code == "operation-unknown"
    assert "not known whether it moved; look" in caught.value.message
    assert len(bench.gate.sent) == 1
    (kept,) = bench.desk.recent("slip-gate", 1)
    assert kept.state is OperationState.UNKNOWN
    (event,) = bench.store.journal.all(EventName.OUTPUT_OPERATED)
    assert event.data["outcome"] == "unknown"
    assert bench.audit.rows[-1].outcome == "operation-unknown"
    with pytest.raises(GatepostError, match="second closure"):
        await bench.operate(key="k1")
    with pytest.raises(GatepostError, match="less than 10 s ago"):
        await bench.operate()


async def test_a_line_that_fails_before_it_was_sent_is_no_doubt() -> None:
    """The status could not be read, or the request never left: it is known that nothing moved, and it is said."""
    bench = OperatingBench()
    bench.gate.fail(method="hold")
    asked = await refused(bench)
    assert (asked.code, "nothing was sent" in asked.message) == ("receiver-not-reached", True)
    unsent = NoAnswer("The line was never silent.", remedy="Look for noise.")
    unsent.sent = False

    bench.gate.unsent = unsent
    assert (await refused(bench)).code == "receiver-not-reached"


async def test_a_receiver_that_refuses_is_not_asked_again() -> None:
    """Its reason is the answer."""
    bench = OperatingBench()
    no = ReceiverRefused("The mode forbids it.", remedy="Look at the selector.", code="mode-forbids")
    bench.gate.fail(no, method="operate", after=True)
    with pytest.raises(ReceiverRefused):
        await bench.operate()
    assert len(bench.gate.sent) == 1
    (kept,) = bench.desk.recent("slip-gate", 1)
    assert (kept.state, kept.code) == (OperationState.REFUSED, "mode-forbids")


async def test_nothing_is_sent_that_could_not_be_kept_first() -> None:
    """A full disk: no audit or no journal, no closure."""
    bench = OperatingBench()
    bench.store.journal.full = True
    assert (await refused(bench)).code == "store-unavailable"
    bench.store.journal.full = False
    assert (await bench.operate()).state is OperationState.DONE


async def test_what_a_crash_cuts_is_not_gone_on_with() -> None:
    """Cut while it was sent: after the start it is told as not known, once, and nothing is sent."""
    bench = OperatingBench()
    bench.gate.meanwhile = _for_ever(bench)
    task = asyncio.ensure_future(bench.desk.operate(bench.order()))
    await bench.clock.settle()
    task.cancel()
    await bench.clock.settle()
    bench.gate.meanwhile = None
    bench.desk = bench.new_desk()
    async with bench.running():
        await bench.clock.advance(60)
    (kept,) = bench.desk.recent("slip-gate", 1)
    assert kept.state is OperationState.UNKNOWN
    assert not bench.gate.sent
    assert len(bench.store.journal.all(EventName.OUTPUT_OPERATED)) == 1


def _for_ever(bench: OperatingBench) -> Callable[[], Awaitable[None]]:
    async def wait() -> None:
        await bench.clock.sleep(1e6)

    return wait


# --- with a warning ---

HORN = Warning(4, "horn", 6.0)


async def test_the_warning_runs_first_then_it_closes_once() -> None:
    """The one sequence that is permitted: 6 s of horn, then the gate."""
    bench = OperatingBench(warning=HORN)
    async with bench.running():
        asked = await bench.operate()
        assert asked.state is OperationState.WARNING
        assert [(output, tenths) for output, tenths, _ in bench.gate.sent] == [(4, 60)]
        assert not bench.store.journal.all(EventName.OUTPUT_OPERATED)
        await bench.clock.advance(5.9)
        assert len(bench.gate.sent) == 1
        await bench.clock.advance(0.2)
    assert [(output, tenths) for output, tenths, _ in bench.gate.sent] == [(4, 60), (1, 0)]
    assert bench.desk.operation(asked.id).state is OperationState.DONE
    assert bench.audit.rows[-1].outcome == "done"


@pytest.mark.parametrize("change", [_violate, _restart, _plan, _close, _turn(OutputMode.LATCHING)])
async def test_every_refusal_is_looked_at_again_after_the_warning(change: Change) -> None:
    """What has changed meanwhile refuses; the gate does not move."""
    bench = OperatingBench(warning=HORN)
    async with bench.running():
        asked = await bench.operate()
        await bench.clock.advance(3)
        change(bench)
        await bench.clock.advance(10)
    assert [output for output, _, _ in bench.gate.sent] == [4]
    kept = bench.desk.operation(asked.id)
    assert kept.state is OperationState.REFUSED
    assert bench.audit.rows[-1].outcome == kept.code


async def test_a_token_that_is_removed_during_the_warning_moves_nothing() -> None:
    """Asked again when the turn comes."""
    bench = OperatingBench(warning=HORN)
    may = [True]
    async with bench.running():
        asked = await bench.operate(still_may=lambda: may[0])
        may[0] = False
        await bench.clock.advance(10)
    assert bench.desk.operation(asked.id).code == "operator-gone"
    assert len(bench.gate.sent) == 1


async def test_nothing_warns_for_a_gate_that_would_not_move() -> None:
    """All of it is judged before the warning too."""
    bench = OperatingBench(warning=HORN)
    _violate(bench)
    assert (await refused(bench)).code == "safety-input-violated"


async def test_a_warning_that_does_not_work_moves_nothing() -> None:
    """It was acknowledged, and the output is not seen closed."""
    bench = OperatingBench(warning=HORN)
    bench.gate.board.close_output = lambda *_, **__: None  # type: ignore[method-assign]
    with pytest.raises(GatepostError) as caught:
        await bench.operate()
    assert caught.value.code == "warning-not-seen"
    assert [output for output, _, _ in bench.gate.sent] == [4]


async def test_a_second_order_during_the_warning_is_refused() -> None:
    """It is under way."""
    bench = OperatingBench(warning=Warning(4, "horn", 30.0))
    async with bench.running():
        await bench.operate()
        await bench.clock.advance(20)
        with pytest.raises(GatepostError) as caught:
            await bench.operate()
        assert caught.value.code == "operated-just-now"


async def test_a_stop_during_the_warning_ends_it() -> None:
    """After the start it is shown as interrupted, and nothing is operated."""
    bench = OperatingBench(warning=HORN)
    async with bench.running():
        asked = await bench.operate()
        await bench.clock.advance(2)
    bench.desk = bench.new_desk()
    async with bench.running():
        await bench.clock.advance(60)
    assert bench.desk.operation(asked.id).state is OperationState.INTERRUPTED
    assert [output for output, _, _ in bench.gate.sent] == [4]
    assert not bench.store.journal.all(EventName.OUTPUT_OPERATED)
