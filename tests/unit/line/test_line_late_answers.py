"""Late answers: the worst failure of Modbus RTU, because one looks like the answer to the next question.

Each run mixes reads of one length at different places, writes that are read back, and units that answer up to
one time-out late. A read may fail; it must never bring another read's values. `GATEPOST_SEEDS` sets how many
runs there are (default 300; the reliability figure is counted over 10,000).
"""

from __future__ import annotations

import os
import random

import pytest

from gateway import modbus
from gateway.domain.urgency import Urgency
from gateway.errors import BrokenAnswer, NoAnswer, WrongAnswer
from gateway.line import Line
from tests.fakes.clock import FakeClock
from tests.fakes.running_line import running
from tests.fakes.wire import FakeCable, FakeUnit, late

SEEDS = int(os.environ.get("GATEPOST_SEEDS", "300"))
ANSWER_TIME_S = 0.02
FAILURES = (NoAnswer, WrongAnswer, BrokenAnswer)


async def read(line: Line, cable: FakeCable, address: int, start: int, count: int = 8) -> list[int] | None:
    """The registers, None when the line gave a typed error."""
    request = modbus.ReadHoldingRegisters(start, count)
    work = line.transact(address, request, urgency=Urgency.POLL, answer_time_s=ANSWER_TIME_S)
    try:
        answer = await cable.clock.run(work)
    except FAILURES:
        return None
    assert isinstance(answer, modbus.RegistersAnswer)
    return list(answer.registers)


async def write(line: Line, cable: FakeCable, address: int, place: int, value: int) -> None:
    """Write one register; whether it is believed is for the read that follows."""
    request = modbus.WriteRegister(place, value)
    work = line.transact(address, request, urgency=Urgency.POLL, answer_time_s=ANSWER_TIME_S)
    try:
        await cable.clock.run(work)
    except FAILURES:
        return


@pytest.mark.parametrize("block", range(10))
async def test_no_wrong_value_is_ever_kept(block: int) -> None:
    """Answers between nothing and two time-outs after the request: 0 wrong values in any seed."""
    kept = failed = 0
    for seed in range(block * SEEDS // 10, (block + 1) * SEEDS // 10):
        run_kept, run_failed = await _one_run(random.Random(seed), seed)
        kept += run_kept
        failed += run_failed
    assert kept > failed > 0, "the runs must have seen both good reads and failures"


async def _one_run(dice: random.Random, seed: int) -> tuple[int, int]:
    cable = FakeCable(FakeClock(), units={1: FakeUnit(), 2: FakeUnit()})
    patience_s = ANSWER_TIME_S + 21 * 10 / 19200 + 0.015
    cable.chunk = dice.choice((1, 8, 64))
    lateness = dice.choice((0.1, 0.3, 0.6))

    def behave(answer: bytes) -> list[tuple[float, bytes | None]]:
        slow = dice.random() < lateness
        return [(dice.uniform(0.5, 2.0) * patience_s if slow else 0.001, answer)]

    cable.behave = behave
    kept = failed = 0
    expected = {unit: list(range(2000)) for unit in (1, 2)}
    async with running(cable, tries=dice.choice((1, 2, 3))) as line:
        if dice.random() < 0.5:
            line.set_probe(1, (modbus.ReadInputRegisters(0, 2), modbus.ReadHoldingRegisters(0, 1)), ANSWER_TIME_S)
        for _ in range(8):
            unit, start = dice.choice((1, 2)), dice.randrange(0, 1900)
            if dice.random() < 0.25:
                value = dice.randrange(0x10000)
                await write(line, cable, unit, start, value)
                expected[unit] = [cable.units[unit].registers[n] for n in range(2000)]
            got = await read(line, cable, unit, start, dice.choice((8, 8, 8, 9)))
            if got is None:
                failed += 1
            else:
                assert got == expected[unit][start : start + len(got)], f"seed {seed}: a stale answer passed"
                kept += 1
    assert cable.short_gaps == [], f"seed {seed}"
    return kept, failed


@pytest.mark.parametrize("late_by", [0.0005, 0.01, 0.02, 0.035])
async def test_after_a_time_out_the_line_is_quiet_for_one_more_answer_time(late_by: float) -> None:
    """The late answer falls into the quiet, is dropped, and the next question is a probe of another form."""
    cable = FakeCable(FakeClock())
    patience_s = ANSWER_TIME_S + 21 * 10 / 19200 + 0.015
    async with running(cable, tries=1) as line:
        cable.behave = late(patience_s + late_by)
        assert await read(line, cable, 1, 100) is None
        cable.behave = lambda answer: [(0.001, answer)]
        assert await read(line, cable, 1, 200) == list(range(200, 208))
        assert line.counters.late_bytes == 21
    timed_out = cable.sent[0][0] + 8 * 10 / 19200 + patience_s
    assert cable.sent[1][0] - timed_out >= patience_s
    assert cable.sent[1][1] != cable.sent[0][1]
    assert len(cable.sent) == 3


async def test_an_answer_that_comes_during_the_probe_is_stepped_over() -> None:
    """Two and a half time-outs late: it has another form than the probe's, so it can't pass for it."""
    cable = FakeCable(FakeClock())
    patience_s = ANSWER_TIME_S + 21 * 10 / 19200 + 0.015
    async with running(cable, tries=1) as line:
        cable.behave = late(2 * patience_s + 0.008)
        assert await read(line, cable, 1, 100) is None
        cable.behave = lambda answer: [(0.001, answer)]
        assert await read(line, cable, 1, 200) == list(range(200, 208))
        assert line.counters.probes == 1


async def test_noise_while_waiting_leaves_the_unit_in_debt() -> None:
    """Five bytes of noise end the wait early; the real answer still comes and must not be taken for the next."""
    cable = FakeCable(FakeClock())
    async with running(cable, tries=1) as line:
        cable.behave = lambda answer: [(0.001, b"\x99" * 6), (0.030, answer)]
        assert await read(line, cable, 1, 100) is None
        cable.behave = lambda answer: [(0.001, answer)]
        assert await read(line, cable, 1, 200) == list(range(200, 208))


async def test_the_neighbour_of_a_late_unit_is_not_probed() -> None:
    """Debt is kept unit by unit."""
    cable = FakeCable(FakeClock(), units={1: FakeUnit(), 2: FakeUnit()})
    async with running(cable, tries=1) as line:
        cable.behave = late(5.0)
        assert await read(line, cable, 1, 100) is None
        cable.answers_until = 0.0
        cable.behave = lambda answer: [(0.001, answer)]
        assert await read(line, cable, 2, 200) == list(range(200, 208))
        assert line.counters.probes == 0
