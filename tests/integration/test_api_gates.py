"""Gates, conditions and why-answers over HTTP, with who may see what."""

from __future__ import annotations

from gateway.domain.condition import ConditionKind
from gateway.domain.gate import GatePosition
from gateway.domain.live import LinkState, LiveReceiver
from tests.fakes.api_bench import SECRET_HOLDER, ApiBench
from tests.fakes.gates import some_condition, some_gate

_NOTE = {"name": "Harbour office", "note": "a trailer stood in the way"}


async def test_a_gate_with_all_that_it_rests_on() -> None:
    """Sentence, position, outputs by name and the level of each contact."""
    bench = ApiBench()
    async with bench.served("view") as client:
        (gate,) = (await client.get("/api/v1/gates")).json["gates"]
        assert (gate["position"], gate["sentence"]) == ("open", "Slip gate is open since 08:00.")
        assert gate["outputs"] == [{"number": 1, "name": "gate"}]
        assert gate["contacts"][0] == {
            "receiver": "slip-gate",
            "input": 1,
            "name": "gate closed",
            "role": "closed",
            "state": "normal",
        }
        assert gate["healthy"] is True
        one = await client.get("/api/v1/gates/slip-gate")
        assert one.json == gate
        again = await client.get("/api/v1/gates/slip-gate", headers={"If-None-Match": one.headers["ETag"]})
        assert again.status == 304
        assert (await client.get("/api/v1/gates/boathouse")).problem == "not-found"


async def test_a_silent_receivers_contacts_are_unknown() -> None:
    """The last good level is not shown."""
    bench = ApiBench()
    bench.gates.kept = [some_gate(position=GatePosition.UNKNOWN)]
    live = bench.live.kept["slip-gate"]
    bench.live.kept["slip-gate"] = LiveReceiver("slip-gate", LinkState.SILENT, live.since, status=live.status)
    async with bench.served("view") as client:
        gate = (await client.get("/api/v1/gates/slip-gate")).json
        assert gate["contacts"][0]["state"] == "unknown"
        assert gate["healthy"] is False


async def test_conditions_by_page_state_and_gate() -> None:
    """Newest first; open ones unless more is asked for."""
    bench = ApiBench()
    bench.conditions.kept = [some_condition(n, ConditionKind.TAMPER, gate=f"gate-{n % 2}") for n in range(1, 6)]
    bench.conditions.cleared = [some_condition(9)]
    async with bench.served("view") as client:
        first = (await client.get("/api/v1/conditions?limit=3")).json
        assert [each["id"] for each in first["conditions"]] == ["m1-c5", "m1-c4", "m1-c3"]
        rest = (await client.get(f"/api/v1/conditions?limit=3&cursor={first['next']}")).json
        assert ([each["id"] for each in rest["conditions"]], rest["next"]) == (["m1-c2", "m1-c1"], None)
        everything = (await client.get("/api/v1/conditions?state=all")).json["conditions"]
        assert everything[0]["id"] == "m1-c9"
        ours = (await client.get("/api/v1/conditions?gate=gate-0")).json["conditions"]
        assert [each["id"] for each in ours] == ["m1-c4", "m1-c2"]
        one = (await client.get("/api/v1/conditions/m1-c9")).json
        assert (one["condition"], one["weight"], one["ending"]) == ("left-open", "alarm", "by-itself")
        assert (await client.get("/api/v1/conditions/m1-c77")).problem == "not-found"


async def test_taking_note() -> None:
    """With name and note, by whoever may know people; others see that and when, not who."""
    bench = ApiBench()
    async with bench.served("roster") as client:
        path = "/api/v1/conditions/m1-c1/acknowledgement"
        assert (await client.post(path, {"name": "x", "note": ""})).problem == "body-invalid"
        assert (await client.post(path, _NOTE)).json["acknowledged"]["note"] == _NOTE["note"]
        for nobody in ({"name": " \t"}, {"note": "\u00a0"}):
            refused = await client.post(path, {**_NOTE, **nobody})
            assert refused.problem == "body-invalid"
            assert "not blanks alone" in refused.body.decode()
        assert (await client.post("/api/v1/conditions/m1-c9/acknowledgement", _NOTE)).problem == "not-found"
    assert [(row.what, row.outcome) for row in bench.audit.rows if row.outcome == "done"] == [
        ("condition.acknowledged", "done")
    ]
    async with bench.served("view") as client:
        (seen,) = (await client.get("/api/v1/conditions")).json["conditions"]
        assert seen["acknowledged"] == {"time": "2026-03-02T08:00:00.000Z"}
        assert (await client.post(path, _NOTE)).problem == "scope-insufficient"


async def test_why_needs_the_right_to_know_people() -> None:
    """The answer names holders."""
    async with ApiBench().served("view") as client:
        assert (await client.get("/api/v1/why", params={"holder": SECRET_HOLDER})).problem == "scope-insufficient"
    async with ApiBench().served("roster") as client:
        (answer,) = (await client.get("/api/v1/why", params={"holder": SECRET_HOLDER})).json["transmitters"]
        assert answer["serial"] == "0048231907"
        assert answer["answer"]["reason"] == "not-heard"
        assert (await client.get("/api/v1/why", params={"holder": "Berth 99"})).problem == "not-found"
        assert (await client.get("/api/v1/why")).problem == "query-invalid"
