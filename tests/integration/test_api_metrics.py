"""Metrics, read by prometheus-client's own parsers of both formats (Prometheus' text and OpenMetrics)."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import pytest
from prometheus_client.metrics_core import Metric
from prometheus_client.openmetrics.parser import text_string_to_metric_families as read_openmetrics
from prometheus_client.parser import text_string_to_metric_families as read_text

from gateway.domain.events import EventName
from gateway.domain.health import Health
from gateway.line import ANSWER_BOUNDS_S, LineCounters, LineState
from tests.fakes.api_bench import SECRET_HOLDER, ApiBench, Client
from tests.fakes.clock import FakeClock
from tests.fakes.doc_examples import DOCS

_OPENMETRICS = {"Accept": "application/openmetrics-text; version=1.0.0"}
#: Labels may hold names of the settings, operations, methods, statuses, versions, names of events and bounds.
_LABELS = {"line", "receiver", "outlet", "operation", "method", "status", "version", "name", "result", "le"}


@dataclass
class SomeLine:
    """A line that has done something."""

    state: LineState
    counters: LineCounters


_LINE = SomeLine(
    LineState("open", 0.0),
    LineCounters(
        frames_sent=12, answers=9, timeouts=2, damaged=1, busy_s=1.5, answers_s=0.75,
        answers_by_s=(0, 4, 3, 0, 1, 0, 0, 0, 1),
    ),
)  # fmt: skip


async def _families(client: Client, **headers: str) -> dict[str, Metric]:
    reply = await client.get("/metrics", headers=headers)
    assert reply.status == 200
    read = read_openmetrics if "openmetrics" in reply.headers["Content-Type"] else read_text
    return {family.name: family for family in read(reply.body.decode())}


def _values(family: Metric, **labels: str) -> dict[str, float]:
    """Values by name of sample and, for histograms, its bound."""
    return {
        sample.name.removeprefix(family.name) + sample.labels.get("le", ""): sample.value
        for sample in family.samples
        if labels.items() <= sample.labels.items()
    }


@pytest.mark.parametrize("headers", [{}, _OPENMETRICS], ids=["text", "openmetrics"])
async def test_both_formats_are_read_by_their_parsers(headers: dict[str, str]) -> None:
    """Every family has a text; no label is other than listed; names are of our own family."""
    bench = ApiBench()
    bench.lines["quayside"] = _LINE
    async with bench.served("view") as client:
        families = await _families(client, **headers)
    assert len(families) > 25
    for family in families.values():
        assert family.name.startswith("gatepost_")
        assert len(family.documentation) > 5
        for sample in family.samples:
            assert set(sample.labels) <= _LABELS, sample


async def test_the_page_names_metrics_that_there_are() -> None:
    """Each metric in the table of docs/api.md is given out, with the labels that stand there."""
    bench = ApiBench()
    bench.lines["quayside"] = _LINE
    async with bench.served("view") as client:
        families = await _families(client)
    table = re.findall(r"`(gatepost_[a-z_]+)(?:\{([a-z,]+)\})?`", (DOCS / "api.md").read_text())
    assert len(table) > 20
    for name, labels in table:
        family = families[name.removesuffix("_total")]
        for sample in family.samples if labels else ():
            assert set(labels.split(",")) <= set(sample.labels), name


async def test_a_line_s_use_errors_and_answer_times() -> None:
    """The histogram's buckets are cumulative and end in the count; its sum is the time that answers took."""
    bench = ApiBench()
    bench.lines["quayside"] = _LINE
    async with bench.served("view") as client:
        found = await _families(client)
    answers = _values(found["gatepost_line_answer_seconds"], line="quayside")
    bounds = [*(f"_bucket{bound}" for bound in ANSWER_BOUNDS_S), "_bucket+Inf"]
    assert [answers[bound] for bound in bounds] == [0, 4, 7, 7, 8, 8, 8, 8, 9]
    assert (answers["_count"], answers["_sum"]) == (9, 0.75)
    assert _values(found["gatepost_line_busy_seconds"], line="quayside") == {"_total": 1.5}
    assert _values(found["gatepost_line_open"], line="quayside") == {"": 1}
    for result, count in (("answered", 9), ("timed_out", 2), ("damaged", 1), ("foreign", 0)):
        assert _values(found["gatepost_line_exchanges"], line="quayside", result=result) == {"_total": count}


async def test_slots_health_and_the_clock() -> None:
    """As they are when somebody asks."""
    bench = ApiBench()
    bench.trust.trusted = False
    bench.health = Health(lacking=("lines",))
    async with bench.served("view") as client:
        found = await _families(client)
    assert _values(found["gatepost_receiver_slots_used"], receiver="slip-gate") == {"": 3}
    assert _values(found["gatepost_receiver_slots"], receiver="slip-gate") == {"": 1024}
    expected = {"clock_trusted": 0, "live": 1, "ready": 0, "journal_available": 1}
    assert {name: _values(found[f"gatepost_{name}"])[""] for name in expected} == expected


async def test_plans_are_counted_by_how_they_ended() -> None:
    """From the journal's events, whoever caused them; what came before the start is not counted again."""
    bench = ApiBench()
    await bench.happen(EventName.PLAN_APPLIED)
    async with bench.served("view") as client:
        await bench.happen(EventName.PLAN_APPLIED)
        await bench.happen(EventName.PLAN_FAILED)
        await bench.happen(EventName.PLAN_APPLIED)
        for _ in range(1000):
            events = (await _families(client))["gatepost_events"]
            counted = {sample.labels["name"]: sample.value for sample in events.samples}
            if len(counted) == 2:
                break
    assert counted == {"plan.applied": 2, "plan.failed": 1}
    assert {sample.labels["receiver"] for sample in events.samples} == {"slip-gate"}


async def test_requests_are_timed_by_operation() -> None:
    """An address that is none counts too, under one name, so that a scanner makes no series."""
    clock = FakeClock()
    bench = ApiBench(clock=clock)
    async with bench.served("view") as client:
        await client.get("/api/v1/gateway")
        for number in range(3):
            await client.get(f"/no/such/{number}")
        found = await _families(client)
    times = found["gatepost_http_request_duration_seconds"]
    assert _values(times, operation="getGateway")["_count"] == 1
    assert _values(times, operation="none")["_count"] == 3


async def test_nothing_personal_is_in_the_metrics() -> None:
    """No holder, no serial, no secret, whatever was asked for."""
    bench = ApiBench()
    async with bench.served("admin") as client:
        await client.post("/api/v1/revocations", {"serial": "0048231907", "reason": "lost by Berth 12"})
        await client.get("/api/v1/revocations/0048231907")
        await client.get("/api/v1/why", params={"holder": SECRET_HOLDER})
        secret: Any = client.headers["Authorization"].partition(" ")[2]
        text = (await client.get("/metrics")).body.decode()
    for hidden in (SECRET_HOLDER, "48231907", secret, "lost by"):
        assert hidden not in text
    assert not re.search(r"\d{9,}", text.replace("0.0.0", ""))
