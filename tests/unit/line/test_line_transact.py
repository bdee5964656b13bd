"""The master against healthy and unhealthy units, in virtual time."""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import random
from collections.abc import Awaitable

import pytest

from gateway import modbus
from gateway.domain.urgency import Urgency
from gateway.errors import BrokenAnswer, NoAnswer, ReceiverException, WrongAnswer
from gateway.line import Line
from tests.fakes.clock import FakeClock
from tests.fakes.running_line import running
from tests.fakes.wire import FakeCable, FakeUnit, prompt

READ = modbus.ReadHoldingRegisters(100, 8)
ANSWER_TIME_S = 0.02


def values(answer: modbus.Answer) -> list[int]:
    """The registers of an answer."""
    assert isinstance(answer, modbus.RegistersAnswer)
    return list(answer.registers)


async def ask(line: Line, cable: FakeCable, request: modbus.Request = READ, **options: object) -> modbus.Answer:
    """One transaction, as fast as virtual time goes."""
    options = {"urgency": Urgency.POLL, "answer_time_s": ANSWER_TIME_S, **options}
    return await cable.clock.run(line.transact(1, request, **options))  # type: ignore[arg-type]  # by name


EVERY_FUNCTION: list[modbus.Request] = [
    modbus.ReadCoils(3, 10),
    modbus.ReadDiscreteInputs(3, 10),
    modbus.ReadHoldingRegisters(3, 125),
    modbus.ReadInputRegisters(3, 2),
    modbus.WriteCoil(7, True),
    modbus.WriteRegister(7, 0xABCD),
    modbus.WriteCoils(7, (True, False, True)),
    modbus.WriteRegisters(7, bytes(range(246))),
    modbus.ReadDeviceIdentification(1, 0),
]


@pytest.mark.parametrize("chunk", [1, 8, 256])
@pytest.mark.parametrize("baud", [9600, 19200, 115200])
async def test_every_function_in_any_chunks(baud: int, chunk: int) -> None:
    """Each answer is whole at its last byte: nothing waits for silence but the next request."""
    cable = FakeCable(FakeClock())
    cable.chunk = chunk
    async with running(cable, baud=baud) as line:
        character_s = 10 / baud
        for request in EVERY_FUNCTION:
            await ask(line, cable, request)  # the wire is silent again after this
            await cable.clock.advance(0.01)
            begun = cable.clock.monotonic()
            answer = await ask(line, cable, request)
            bytes_s = (len(request.encode()) + len(modbus.encode_answer(answer)) + 6) * character_s
            assert cable.clock.monotonic() - begun == pytest.approx(bytes_s + 0.001, abs=1e-4)
        assert cable.short_gaps == []
        assert line.counters.retries == line.counters.timeouts == 0


async def test_requests_follow_each_other_after_the_standards_silence() -> None:
    """Back to back, the gap is t3.5 and no more (Modbus over Serial Line V1.02, 2.5.1.1)."""
    cable = FakeCable(FakeClock())
    async with running(cable) as line:
        for _ in range(3):
            await ask(line, cable)
        (first, _), (second, _), _ = cable.sent
    transaction_s = (8 + 21) * 10 / 19200 + 0.001
    assert second - first == pytest.approx(transaction_s + 3.5 * 10 / 19200, abs=2e-5)
    assert cable.short_gaps == []


async def test_bad_crc_is_told_within_ten_milliseconds_and_tried_again() -> None:
    """The time-out, here a whole second, is not waited out."""
    cable = FakeCable(FakeClock())
    broken = [True, False]

    def behave(answer: bytes) -> list[tuple[float, bytes | None]]:
        return [(0.001, answer[:-1] + bytes((answer[-1] ^ 1,)) if broken.pop(0) else answer)]

    cable.behave = behave
    async with running(cable) as line:
        assert values(await ask(line, cable, answer_time_s=1.0)) == list(range(100, 108))
        assert line.counters.damaged == line.counters.retries == 1
    answered = cable.sent[0][0] + 29 * 10 / 19200 + 0.001
    assert cable.sent[1][0] - answered < 0.010


@pytest.mark.parametrize("flip", range(21))
async def test_a_flipped_bit_anywhere_never_passes(flip: int) -> None:
    """Whatever byte of the answer is damaged, the caller hears of it, in 10 ms unless nothing was heard."""
    cable = FakeCable(FakeClock())
    cable.behave = lambda answer: [(0.001, answer[:flip] + bytes((answer[flip] ^ 0x10,)) + answer[flip + 1 :])]
    async with running(cable) as line:
        begun = cable.clock.monotonic()
        with pytest.raises((BrokenAnswer, NoAnswer)):
            await ask(line, cable, tries=1, answer_time_s=1.0)
        answered = begun + 3.5 * 10 / 19200 + 29 * 10 / 19200 + 0.001
        if flip > 2:
            assert cable.clock.monotonic() - answered < 0.010


async def test_noise_around_a_good_answer_is_stepped_over() -> None:
    """Random bytes before the answer, and behind it, cost nothing but their time."""
    seeds = random.Random(7)
    cable = FakeCable(FakeClock())

    def behave(answer: bytes) -> list[tuple[float, bytes | None]]:
        before = seeds.randbytes(seeds.randrange(4))
        return [(0.001, before), (0.003, answer + seeds.randbytes(seeds.randrange(4)))]

    cable.behave = behave
    async with running(cable) as line:
        for start in range(200):
            request = modbus.ReadHoldingRegisters(start, 8)
            assert values(await ask(line, cable, request)) == list(range(start, start + 8))


@pytest.mark.parametrize("shape", ["doubled", "glued behind a broken one", "split by a pause"])
async def test_doubled_glued_and_split_answers(shape: str) -> None:
    """The first good frame counts; a pause inside a frame is not its end."""
    cable = FakeCable(FakeClock())
    shapes = {
        "doubled": lambda answer: [(0.001, answer + answer)],
        "glued behind a broken one": lambda answer: [(0.001, answer[:9] + answer)],
        "split by a pause": lambda answer: [(0.001, answer[:9]), (0.02, answer[9:])],
    }
    cable.behave = shapes[shape]
    async with running(cable) as line:
        for start in (10, 20, 30):
            request = modbus.ReadHoldingRegisters(start, 8)
            assert values(await ask(line, cable, request)) == list(range(start, start + 8))
    assert cable.short_gaps == []


@pytest.mark.parametrize("configured", [True, False])
async def test_the_adapters_echo_is_not_an_answer(configured: bool) -> None:
    """All functions work with the echo told beforehand; without, it is recognised as it comes."""
    cable = FakeCable(FakeClock())
    cable.echo = True
    async with running(cable, echo=configured) as line:
        for request in [*EVERY_FUNCTION, *EVERY_FUNCTION[::-1]]:
            await ask(line, cable, request)
        assert line.counters.retries == 0
        assert len(cable.units[1].written) == 8


async def test_an_echo_alone_is_silence() -> None:
    """A write to nobody: its own echo, which looks like its answer, does not pass for one."""
    cable = FakeCable(FakeClock(), units={})
    cable.echo = True
    async with running(cable) as line:
        with pytest.raises(NoAnswer):
            await ask(line, cable, modbus.WriteRegister(5, 5), tries=1)


@pytest.mark.parametrize("code", [1, 2, 3, 4, 8, 0x0A, 0x0B, 0x7F])
async def test_exceptions_are_typed_and_not_repeated(code: int) -> None:
    """The unit answered; asking again would bring the same. What to do stands in the error."""
    cable = FakeCable(FakeClock())
    cable.units[1].exception = code
    async with running(cable) as line:
        with pytest.raises(ReceiverException) as fault:
            await ask(line, cable)
        assert (fault.value.function, fault.value.exception) == (3, code)
        assert fault.value.remedy
        assert len(cable.sent) == 1


@pytest.mark.parametrize("code", [5, 6])
async def test_a_busy_unit_is_asked_again_after_growing_waits(code: int) -> None:
    """05 and 06 pass by themselves; the limit is five more questions in 1.55 s."""
    cable = FakeCable(FakeClock())
    cable.units[1].exceptions = [code, code]
    async with running(cable) as line:
        assert values(await ask(line, cable)) == list(range(100, 108))
        gaps = [b[0] - a[0] for a, b in itertools.pairwise(cable.sent)]
        assert 0.05 < gaps[0] < 0.08
        assert 0.1 < gaps[1] < 0.13
        cable.units[1].exception = code
        cable.sent.clear()
        with pytest.raises(ReceiverException):
            await ask(line, cable)
        assert len(cable.sent) == 6


async def test_what_must_not_be_repeated_is_sent_once() -> None:
    """A write that times out, or is answered with busy or rubbish, is not sent again by the line."""
    for behave in (lambda _: [], prompt, lambda answer: [(0.001, answer[:-1] + b"\0")]):
        cable = FakeCable(FakeClock())
        cable.behave = behave
        cable.units[1].exception = 6 if behave is prompt else None
        async with running(cable) as line:
            with pytest.raises((NoAnswer, ReceiverException, BrokenAnswer)):
                await ask(line, cable, modbus.WriteCoil(0, True), repeat_safe=False)
        writes = [frame for _, frame in cable.sent if frame[1] == 5]
        assert len(writes) == 1


async def test_an_error_tells_whether_the_request_left() -> None:
    """After a failed probe the write itself was never sent, and the error says so."""
    cable = FakeCable(FakeClock())
    cable.behave = lambda _: []
    async with running(cable) as line:
        with pytest.raises(NoAnswer) as first:
            await ask(line, cable, modbus.WriteCoil(0, True), repeat_safe=False)
        assert first.value.sent
        with pytest.raises(NoAnswer) as second:
            await ask(line, cable, modbus.WriteCoil(0, True), repeat_safe=False, tries=1)
        assert not second.value.sent
        assert [frame[1] for _, frame in cable.sent].count(5) == 1


async def test_silence_is_told_after_all_tries() -> None:
    """Three sendings or probes, then NoAnswer with what to check."""
    cable = FakeCable(FakeClock(), units={})
    async with running(cable) as line:
        with pytest.raises(NoAnswer, match="3 times asked") as fault:
            await ask(line, cable)
        assert len(cable.sent) == 3
        assert "baud rate" in fault.value.remedy


async def test_a_silent_unit_costs_its_neighbour_one_probe() -> None:
    """The neighbour waits for one answer time and the quiet after it, not for all the tries."""
    cable = FakeCable(FakeClock(), units={2: FakeUnit()})
    async with running(cable) as line:
        dead = line.transact(1, READ, urgency=Urgency.POLL, answer_time_s=ANSWER_TIME_S)

        async def neighbour() -> float:
            await cable.clock.sleep(0.005)
            begun = cable.clock.monotonic()
            await line.transact(2, READ, urgency=Urgency.POLL, answer_time_s=ANSWER_TIME_S)
            return cable.clock.monotonic() - begun

        outcome, waited_s = await cable.clock.run(_both(dead, neighbour()))
        assert isinstance(outcome, NoAnswer)
        one_answer_s = ANSWER_TIME_S + 21 * 10 / 19200 + 0.015
        assert waited_s < 2 * one_answer_s + 0.03


async def test_a_unit_that_stays_silent_gets_one_try() -> None:
    """After three requests in vain each is sent once and no more; one answer gives it its tries back."""
    cable = FakeCable(FakeClock(), units={2: FakeUnit()})
    async with running(cable) as line:

        async def asked_of(address: int) -> int:
            before = line.counters.frames_sent
            with contextlib.suppress(NoAnswer):
                await cable.clock.run(line.transact(address, READ, urgency=Urgency.POLL, answer_time_s=ANSWER_TIME_S))
            return line.counters.frames_sent - before

        assert [await asked_of(1) for _ in range(6)] == [3, 3, 3, 1, 1, 1]
        assert await asked_of(2) == 1  # the neighbour's own tries are its own
        cable.units[1] = FakeUnit()
        assert await asked_of(1) == 2  # a read that proves that no late answer comes, and the request
        del cable.units[1]
        assert [await asked_of(1) for _ in range(4)] == [3, 3, 3, 1]


async def test_noise_is_no_silence() -> None:
    """A unit whose answers are damaged keeps its tries, for the next one may come through."""
    cable = FakeCable(FakeClock())
    cable.behave = lambda _: [(0.001, b"\x00\x55\xaa")]
    async with running(cable) as line:
        for _ in range(5):
            before = line.counters.frames_sent
            with pytest.raises(BrokenAnswer):
                await ask(line, cable)
            assert line.counters.frames_sent - before == 3


async def _both(first: Awaitable[object], second: Awaitable[float]) -> tuple[object, float]:
    dead, waited = await asyncio.gather(first, second, return_exceptions=True)
    assert isinstance(waited, float)
    return dead, waited


async def test_an_answer_to_another_question_is_not_taken() -> None:
    """Another function's or another length's frame with a good CRC: WrongAnswer, after all tries."""
    cable = FakeCable(FakeClock())
    other = modbus.frame(1, modbus.encode_answer(modbus.RegistersAnswer(4, b"\0\1")))
    cable.behave = lambda _: [(0.001, other)]
    async with running(cable) as line:
        with pytest.raises((WrongAnswer, NoAnswer)):
            await ask(line, cable)
        assert line.counters.foreign >= 1


async def test_two_masters_never_yield_a_wrong_value() -> None:
    """Another master's traffic in every gap: each of our reads is right or a typed error, and most are right."""
    seeds = random.Random(3)
    cable = FakeCable(FakeClock())
    foreign = modbus.frame(9, modbus.ReadHoldingRegisters(0, 8).encode())
    cable.behave = lambda answer: [
        (0.001, answer),
        *([(0.001 + seeds.random() * 0.02, foreign)] if seeds.random() < 0.4 else []),
    ]
    good = 0
    async with running(cable) as line:
        for start in range(100):
            request = modbus.ReadHoldingRegisters(start, 8)
            try:
                answer = await ask(line, cable, request)
            except (WrongAnswer, BrokenAnswer, NoAnswer):
                continue
            assert values(answer) == list(range(start, start + 8))
            good += 1
    assert good > 90


async def test_a_line_that_is_never_silent_is_told() -> None:
    """Noise without end: the request fails in bounded time and says what to look for."""
    cable = FakeCable(FakeClock())
    async with running(cable) as line:
        wire = cable.wire
        assert wire is not None

        async def babble() -> None:
            while True:
                wire.disturb(b"\x55")
                await cable.clock.sleep(0.001)

        async with asyncio.TaskGroup() as group:
            noise = group.create_task(babble())
            begun = cable.clock.monotonic()
            with pytest.raises(BrokenAnswer, match="never silent"):
                await ask(line, cable, tries=1)
            assert cable.clock.monotonic() - begun < 1.0
            noise.cancel()


async def test_addresses_outside_the_units_are_a_mistake() -> None:
    """0 is broadcast, 248 and up are reserved."""
    cable = FakeCable(FakeClock())
    async with running(cable) as line:
        for address in (0, 248):
            with pytest.raises(ValueError, match="1 to 247"):
                await line.transact(address, READ, urgency=Urgency.POLL, answer_time_s=1)
