"""Changes by other hands over HTTP: what is open, deciding, refusals, and who may see it."""

from __future__ import annotations

from gateway.domain.drift import Decision
from tests.fakes.api_bench import SECRET_HOLDER, ApiBench
from tests.fakes.drifts import some_drift

PATH = "/api/v1/receivers/slip-gate/drift/0000000077/decision"


async def test_what_is_open_by_page_and_by_receiver() -> None:
    """In words, with what can be decided; a page at a time."""
    bench = ApiBench()
    bench.drift.items = [some_drift(serial=serial) for serial in (77, 78, 79)] + [some_drift("car-park", 80)]
    async with bench.served("roster") as client:
        first = (await client.get("/api/v1/drift?limit=2&receiver=slip-gate")).json
        assert [item["serial"] for item in first["drift"]] == ["0000000077", "0000000078"]
        assert first["drift"][0]["decisions"] == ["adopt", "remove", "revoke"]
        second = (await client.get(f"/api/v1/drift?receiver=slip-gate&cursor={first['next']}")).json
    assert [item["serial"] for item in second["drift"]] == ["0000000079"]
    assert second["next"] is None


async def test_a_decision_is_taken_once_and_audited() -> None:
    """By the name of whoever asked; what makes no sense is refused and what is not open is not found."""
    bench = ApiBench()
    async with bench.served("roster") as client:
        assert (await client.post(PATH, {"decision": "restore"})).problem == "decision-impossible"
        done = await client.post(PATH, {"decision": "remove"})
        assert done.json == {"drift": None, "plan": "p-held", "words": "It is so."}
        assert (await client.post(PATH, {"decision": "remove"})).status == 404
        assert (await client.post(PATH, {"decision": "forget"})).status == 422
    ((receiver, serial, decision, asked_by),) = bench.drift.asked
    assert (receiver, serial, decision) == ("slip-gate", 77, Decision.REMOVE)
    assert asked_by
    assert "drift.decided" in [row.what for row in await bench.audit.read()]


async def test_it_names_people_so_it_needs_the_scope_of_the_roster() -> None:
    """A token that may only look gets none of it."""
    bench = ApiBench()
    bench.drift.items = [some_drift(holder=SECRET_HOLDER)]
    async with bench.served("view") as client:
        answer = await client.get("/api/v1/drift")
        assert answer.status == 403
        assert SECRET_HOLDER.encode() not in answer.body
