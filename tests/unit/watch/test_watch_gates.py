"""Where a gate stands: from its contacts alone, unknown when they can't be read, in a sentence."""

from __future__ import annotations

import itertools

import pytest

from gateway.domain.gate import GatePosition, judge_position
from gateway.domain.live import LinkState
from gateway.errors import NotFound
from tests.fakes.condition_bench import CLOSED, GATE, OPENED, ConditionBench


@pytest.mark.parametrize(
    ("closed", "opened", "travelling", "position"),
    [
        ([True], [], False, GatePosition.SHUT),
        ([True], [], True, GatePosition.SHUT),
        ([False], [], True, GatePosition.MOVING),
        ([False], [], False, GatePosition.OPEN),
        ([False], [False], True, GatePosition.MOVING),
        ([False], [True], True, GatePosition.OPEN),
        ([True], [True], False, GatePosition.UNKNOWN),
        ([], [True], False, GatePosition.OPEN),
        ([], [False], True, GatePosition.MOVING),
        ([], [False], False, GatePosition.UNKNOWN),
        ([], [], False, GatePosition.UNKNOWN),
        ([True, False], [], False, GatePosition.OPEN),
        ([True, True], [], False, GatePosition.SHUT),
    ],
)
def test_contacts_say_where_it_stands(
    closed: list[bool | None], opened: list[bool | None], travelling: bool, position: GatePosition
) -> None:
    """Two leaves are shut when both are; contacts that contradict each other say nothing."""
    assert judge_position(closed, opened, travelling=travelling) is position


def test_what_is_not_known_is_never_guessed() -> None:
    """One contact without a level makes it unknown, whatever the others say."""
    for levels in itertools.product((True, False, None), repeat=3):
        found = judge_position(levels[:2], levels[2:], travelling=True)
        assert (found is GatePosition.UNKNOWN) or None not in levels


async def test_a_cycle_in_sentences() -> None:
    """Shut, moving since it left, open since it left, shut since it arrived."""
    bench = ConditionBench(contacts=2)
    async with bench.run():
        gates = bench.watch.gates
        assert gates.gate(GATE).sentence == "Slip gate is shut."
        assert gates.gate(GATE).since is None
        await bench.clock.advance(60)
        await bench.press()
        await bench.contact(CLOSED, True)
        assert gates.gate(GATE).sentence == "Slip gate is moving since 08:01."
        await bench.clock.advance(12)
        await bench.contact(OPENED, True)
        state = gates.gate(GATE)
        assert (state.position, state.sentence) == (GatePosition.OPEN, "Slip gate is open since 08:01.")
        await bench.clock.advance(240)
        await bench.contact(OPENED, False)
        assert gates.gate(GATE).sentence == "Slip gate is moving since 08:05."
        await bench.contact(CLOSED, False)
        assert gates.gate(GATE).sentence == "Slip gate is shut since 08:05."
        assert gates.gate(GATE).cycles == 1


@pytest.mark.parametrize("link", [state for state in LinkState if state is not LinkState.ONLINE])
async def test_a_receiver_that_is_not_online_makes_it_unknown(link: LinkState) -> None:
    """The last good value never stands in; the sentence says why."""
    bench = ConditionBench()
    async with bench.run():
        await bench.contact(CLOSED, True)
        bench.link(link)
        state = bench.watch.gates.gate(GATE)
        assert state.position is GatePosition.UNKNOWN
        assert state.since == bench.live.receiver(GATE).since
        assert state.reason.startswith("the receiver Slip Gate ")
        assert state.sentence == f"Where Slip gate stands is unknown: {state.reason}"


async def test_since_outlives_a_restart() -> None:
    """It is remembered with the conditions, or read from the journal."""
    bench = ConditionBench()
    async with bench.run():
        await bench.press()
        await bench.contact(CLOSED, True)
        since = bench.clock.now()
        await bench.clock.advance(100)
        await bench.restart(3600)
        assert bench.watch.gates.gate(GATE).since == since


async def test_another_day_is_named() -> None:
    """A time of yesterday alone would mislead."""
    bench = ConditionBench()
    async with bench.run():
        await bench.press()
        await bench.contact(CLOSED, True)
        await bench.stop()
        await bench.clock.advance(20 * 3600)
        assert bench.watch.gates.gate(GATE).sentence == "Slip gate is open since 2 March 08:00."
        await bench.start()


async def test_its_conditions_are_named_with_it() -> None:
    """Their ids, while they are open."""
    bench = ConditionBench()
    async with bench.run():
        await bench.contact(CLOSED, True)
        await bench.clock.advance(2)
        assert bench.watch.gates.gate(GATE).conditions == (bench.only().id,)
        await bench.contact(CLOSED, False)
        assert bench.watch.gates.gate(GATE).conditions == ()
        with pytest.raises(NotFound, match="slip-gate"):
            bench.watch.gates.gate("boathouse")
