"""Outlets over HTTP: who sees and does what, tests, replays, metrics."""

from __future__ import annotations

from dataclasses import replace

from gateway.domain.events import EventId
from tests.fakes.api_bench import ApiBench


async def test_outlets_are_listed_and_shown_with_what_they_set_aside() -> None:
    """State, lag and the events refused; `view` is enough, and no secret is there to be seen."""
    bench = ApiBench()
    async with bench.served("view") as client:
        (outlet,) = (await client.get("/api/v1/outlets")).json["outlets"]
        assert (outlet["id"], outlet["state"], outlet["lag"], outlet["next_event"]) == (
            "harbour-desk",
            "idle",
            0,
            "m1-1",
        )
        shown = (await client.get("/api/v1/outlets/harbour-desk")).json
        assert shown["set_aside_events"][0]["event"] == "m1-7"
        assert (await client.get("/api/v1/outlets/nobody")).problem == "not-found"


async def test_a_test_tells_what_arrived_and_is_audited() -> None:
    """Each sample with its outcome; only `admin` may."""
    bench = ApiBench()
    async with bench.served("admin") as client:
        answer = (await client.post("/api/v1/outlets/harbour-desk/tests")).json
        assert (answer["passed"], [each["outcome"] for each in answer["results"]]) == (True, ["delivered", "delivered"])
        assert answer["results"][0]["event"].startswith("test")
    assert [row.what for row in await bench.audit.read()] == ["outlet.tested", "outlet.tested"]
    async with bench.served("operate") as client:
        assert (await client.post("/api/v1/outlets/harbour-desk/tests")).status == 403


async def test_a_replay_begins_where_asked() -> None:
    """An id of the journal; another one, or a text that is none, is refused."""
    bench = ApiBench()
    async with bench.served("admin") as client:
        path = "/api/v1/outlets/harbour-desk/replays"
        assert (await client.post(path, {"first": "m1-3"})).status == 200
        assert bench.outlets.replayed == [EventId("m1", 3)]
        assert (await client.post(path, {"first": "other-3"})).problem == "replay-out-of-range"
        assert (await client.post(path, {"first": "three"})).problem == "body-invalid"


async def test_lag_and_failures_are_metrics() -> None:
    """By outlet's name alone."""
    bench = ApiBench()
    bench.outlets.shown = replace(bench.outlets.shown, state="failing", lag=12)
    async with bench.served("view") as client:
        text = (await client.get("/metrics")).body.decode()
    assert 'gatepost_outlet_lag_events{outlet="harbour-desk"} 12.0' in text
    assert 'gatepost_outlet_failing{outlet="harbour-desk"} 1.0' in text
    assert 'gatepost_outlet_done_total{outlet="harbour-desk"} 3.0' in text
