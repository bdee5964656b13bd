"""Operating outputs that are called otherwise than in the settings: by the name in use, allowed as before."""

from __future__ import annotations

import pytest

from gateway.domain.events import EventName
from gateway.domain.operation import Warning
from gateway.errors import Refused
from tests.fakes.operating_bench import OperatingBench


async def test_it_is_listed_and_told_by_the_name_in_use() -> None:
    """What the settings allow stays bound to the output; one that only people named is listed too, and not allowed."""
    bench = OperatingBench(warning=Warning(2, "lamp", 5.0))
    bench.names |= {1: "slip", 2: "beacon", 4: "horn"}
    found = {each.output: (each.name, each.allowed) for each in bench.desk.outputs("slip-gate")}
    assert found == {1: ("slip", True), 2: ("beacon", False), 3: ("emergency-stop", True), 4: ("horn", False)}
    (first, *_) = bench.desk.outputs("slip-gate")
    assert (first.warning_name, first.gate) == ("beacon", "slip-gate")
    with pytest.raises(Refused, match="do not allow horn of slip-gate"):
        await bench.operate(output=4)


async def test_a_closure_tells_the_name_in_use() -> None:
    """In its sentence and its event, from the change on."""
    bench = OperatingBench()
    bench.names[1] = "slip"
    done = await bench.operate()
    assert done.name == "slip"
    assert "The contact of slip was closed once" in done.sentence
    (event,) = bench.store.journal.all(EventName.OUTPUT_OPERATED)
    assert event.data["name"] == "slip"


@pytest.mark.parametrize("number", [1, 2])
async def test_nothing_called_after_a_stop_is_operated(number: int) -> None:
    """Whoever called it so: neither the output nor what warns before it."""
    bench = OperatingBench(warning=Warning(2, "lamp", 5.0))
    bench.names[number] = "Emergency-Stop"
    with pytest.raises(Refused) as refused:
        await bench.operate()
    assert refused.value.code == "stop-not-operated"
    assert bench.gate.sent == []


async def test_a_stop_of_the_settings_stays_one() -> None:
    """Another name does not make it operable (docs/operating.md: an emergency stop works at the gate alone)."""
    bench = OperatingBench()
    bench.names[3] = "lamp"
    with pytest.raises(Refused) as refused:
        await bench.operate(output=3)
    assert refused.value.code == "stop-not-operated"
