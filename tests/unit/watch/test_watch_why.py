"""Why does it not open? Each answer from what the gateway knows."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from gateway.domain.live import LinkState
from gateway.domain.mirror import Mirror
from gateway.domain.receiver import Identity, Limits, Slot
from gateway.domain.revocation import Revocation
from gateway.domain.roster import Entry, Right, Roster
from gateway.domain.why import Reason, Why
from gateway.errors import NotFound
from gateway.watch.why import Explainer
from tests.fakes.condition_bench import CLOSED, GATE, SAFETY, ConditionBench

SERIAL, HOLDER = 48_231_907, "Berth 12"
ENTRY = Entry(2, SERIAL, HOLDER, rights=(Right(GATE, "1", "gate"),))


class WhyBench:
    """An explainer beside the conditions of a slip gate; the receiver holds the transmitter."""

    def __init__(self) -> None:
        self.conditions = ConditionBench()
        self.entry = ENTRY
        self.revoked: dict[int, Revocation] = {}
        self.hold(SERIAL)
        self.explainer = Explainer(
            self.conditions.premises,
            site="fennel-quay",
            journal=self.conditions.store.journal,
            mirrors=self.conditions.store.mirrors,
            live=self.conditions.live,
            clock=self.conditions.clock,
            roster=lambda: Roster((self.entry,), "9f2c"),
            revoked=lambda: self.revoked,
        )

    def hold(self, *serials: int) -> None:
        """What the receiver's memory has."""
        slots = {n: Slot(n, serial, 0, (frozenset({1}),)) for n, serial in enumerate(serials, 1)}
        identity = Identity("Example", "Receiver", "1", "V-1", "reference", 1)
        self.conditions.store.mirrors.kept[GATE] = Mirror(GATE, identity, Limits(2, 6, 64), 1, slots)

    async def ask(self, holder: str = HOLDER) -> Why:
        (answer,) = await self.explainer.explain(holder)
        return answer


Step = Callable[[WhyBench], Awaitable[None]]


async def _not_heard(bench: WhyBench) -> None:
    """Nothing happened."""


async def _unknown(bench: WhyBench) -> None:
    await bench.conditions.press(SERIAL, known=False)


async def _worked(bench: WhyBench) -> None:
    await bench.conditions.press(SERIAL)
    await bench.conditions.output()
    await bench.conditions.contact(CLOSED, True)


async def _idle(bench: WhyBench) -> None:
    await bench.conditions.press(SERIAL)


async def _did_not_move(bench: WhyBench) -> None:
    await bench.conditions.press(SERIAL)
    await bench.conditions.output()
    await bench.conditions.clock.advance(30)


async def _revoked(bench: WhyBench) -> None:
    bench.revoked[SERIAL] = Revocation(SERIAL, "token:t1", "lost", bench.conditions.clock.now())


async def _ended(bench: WhyBench) -> None:
    bench.entry = replace(ENTRY, valid_until=date(2026, 3, 1))


async def _not_yet(bench: WhyBench) -> None:
    bench.entry = replace(ENTRY, valid_from=datetime(2026, 3, 2, 9, 0, tzinfo=UTC))


async def _elsewhere(bench: WhyBench) -> None:
    bench.entry = replace(ENTRY, sites=("gull-point",))


async def _not_held(bench: WhyBench) -> None:
    bench.hold(99)


async def _silent(bench: WhyBench) -> None:
    bench.conditions.link(LinkState.SILENT)


async def _safety(bench: WhyBench) -> None:
    await _did_not_move(bench)
    await bench.conditions.contact(SAFETY, True)


async def _low_battery(bench: WhyBench) -> None:
    await bench.conditions.press(SERIAL, battery="low")
    await bench.conditions.output()
    await bench.conditions.contact(CLOSED, True)


CASES = {
    Reason.NOT_HEARD: _not_heard,
    Reason.HEARD_UNKNOWN: _unknown,
    Reason.WORKED: _worked,
    Reason.OUTPUT_IDLE: _idle,
    Reason.DID_NOT_MOVE: _did_not_move,
    Reason.REVOKED: _revoked,
    Reason.ENDED: _ended,
    Reason.NOT_YET: _not_yet,
    Reason.NO_RIGHTS: _elsewhere,
    Reason.NOT_HELD: _not_held,
    Reason.NOT_REACHED: _silent,
    Reason.SAFETY_ACTIVE: _safety,
    Reason.BATTERY_LOW: _low_battery,
}


def test_every_reason_has_a_case() -> None:
    """None can be added without its test."""
    assert set(CASES) == set(Reason)


@pytest.mark.parametrize(("reason", "step"), CASES.items(), ids=[reason.value for reason in CASES])
async def test_the_answer(reason: Reason, step: Step) -> None:
    """One sentence and what to do, for each thing that can be the matter."""
    bench = WhyBench()
    await step(bench)
    why = await bench.ask()
    assert why.answer.reason is reason
    assert why.answer.sentence.endswith(".")
    assert why.answer.remedy.endswith(".")
    assert (why.holder, why.serial) == (HOLDER, SERIAL)


async def test_a_press_is_told_with_its_time() -> None:
    """The newest one counts, and one that worked long ago is no success now."""
    bench = WhyBench()
    await _worked(bench)
    first = bench.conditions.clock.now()
    await bench.conditions.clock.advance(3600)
    why = await bench.ask()
    assert why.last_heard == first
    assert "at 08:00" in why.answer.sentence
    assert "not heard" in why.answer.remedy
    await _unknown(bench)
    assert (await bench.ask()).answer.time == first + timedelta(hours=1)


async def test_a_serial_can_be_asked_for() -> None:
    """Also one that no roster has: it may be in the hand of whoever calls."""
    bench = WhyBench()
    assert (await bench.ask(str(SERIAL))).holder == HOLDER
    stranger = await bench.ask("77")
    assert (stranger.holder, stranger.answer.reason) == ("", Reason.NO_RIGHTS)
    with pytest.raises(NotFound) as caught:
        await bench.ask(HOLDER[:-1])
    assert (caught.value.remedy or "").startswith(f"Did you mean {HOLDER}? ")


async def test_a_name_is_found_however_it_is_written() -> None:
    """Case makes no difference; blanks around it neither."""
    bench = WhyBench()
    assert (await bench.ask("  berth 12 ")).serial == SERIAL
