"""Conditions under any order of events, ticks, silences and restarts."""

from __future__ import annotations

import random
from collections import Counter

import pytest

from gateway.domain.events import EventName
from gateway.domain.live import LinkState
from tests.fakes.condition_bench import ConditionBench, draft


async def _step(bench: ConditionBench, dice: random.Random) -> None:
    match dice.randrange(12):
        case 0 | 1 | 2 | 3:
            await bench.contact(dice.randint(1, 6), dice.random() < 0.5, changes=dice.choice((1, 1, 1, 12)))
        case 4:
            await bench.output(dice.random() < 0.7)
        case 5:
            await bench.press(dice.choice((77, 48_231_907)), known=dice.random() < 0.5)
        case 6:
            bench.link(dice.choice((LinkState.SILENT, LinkState.ONLINE, LinkState.PORT_LOST, LinkState.CONNECTING)))
        case 7:
            await bench.happen(
                draft(dice.choice((EventName.LINK_LOST, EventName.LINK_RESTORED, EventName.RING_OVERRUN)))
            )
        case 8:
            await bench.restart(dice.choice((0.0, 5.0, 500.0)), reboot=dice.random() < 0.3)
        case 9:
            for found in bench.watch.open():
                if found.acknowledged is None and dice.random() < 0.3:
                    await bench.watch.acknowledge(found.id, name="x", note="y")
                    break
        case 10:
            bench.revoked ^= {48_231_907}
        case _:
            await bench.clock.advance(dice.choice((0.1, 3.0, 61.0, 301.0)))


@pytest.mark.parametrize("seed", range(40))
async def test_raised_and_cleared_alternate_whatever_happens(seed: int) -> None:
    """For each key strictly, with one id a pair; and what is open is what was raised and not cleared."""
    dice = random.Random(seed)
    bench = ConditionBench()
    async with bench.run():
        for _ in range(80):
            await _step(bench, dice)
        await bench.clock.advance(1)
        running: dict[str, str] = {}
        ids: Counter[str] = Counter()
        for event in bench.events():
            key = ":".join(str(event.data.get(part)) for part in ("condition", "gate", "input", "serial"))
            found = event.data["id"]
            ids[found] += 1
            if event.name is EventName.CONDITION_RAISED:
                assert key not in running
                running[key] = found
            else:
                assert running.pop(key) == found
        assert sorted(running.values()) == sorted(each.id for each in bench.watch.open())
        assert max(ids.values(), default=0) <= 2
