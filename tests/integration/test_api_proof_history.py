"""Receipts, history and refused plans over HTTP: pages, scopes, what is audited, what a change gives and takes."""

from __future__ import annotations

from dataclasses import replace

import pytest

from gateway.domain.plan import Change, ChangeKind, PlanState
from gateway.domain.receiver import Slot
from gateway.store.receiptform import parse_receipt, verify
from gateway.store.signingkey import parse_public_key
from tests.fakes.api_bench import ApiBench
from tests.fakes.receipts import a_receipt


async def test_receipts_are_paged_and_handed_out_as_they_were_signed() -> None:
    """Newest first, by receiver; the document and the key of the API verify each other."""
    bench = ApiBench()
    for receiver in ("slip-gate", "car-park", "slip-gate"):
        await bench.receipts.add(a_receipt(receiver))
    async with bench.served("view") as client:
        first = (await client.get("/api/v1/receipts?limit=2")).json
        rest = (await client.get(f"/api/v1/receipts?limit=2&cursor={first['next']}")).json
        mine = (await client.get("/api/v1/receipts?receiver=car-park")).json
        document = await client.get("/api/v1/receipts/00000001-slip-gate")
        (key,) = (await client.get("/api/v1/receipts/keys")).json["keys"]
        none = await client.get("/api/v1/receipts/00000009-slip-gate")
    assert [row["number"] for row in first["receipts"] + rest["receipts"]] == [3, 2, 1]
    assert rest["next"] is None
    assert [row["number"] for row in mine["receipts"]] == [2]
    assert mine["receipts"][0]["time"] == "2026-03-02T08:00:04.000Z"
    verify(parse_receipt(document.body), [parse_public_key(key["pem"])])
    assert none.status == 404


async def test_a_receipt_that_cant_be_believed_is_listed_and_not_handed_out() -> None:
    """A row with its fault; 409 for the document."""
    bench = ApiBench()
    kept = await bench.receipts.add(a_receipt())
    bench.receipts.kept = [replace(kept, document={}, fault="It is torn.")]
    async with bench.served("view") as client:
        (row,) = (await client.get("/api/v1/receipts")).json["receipts"]
        refused = await client.get(f"/api/v1/receipts/{kept.id}")
    assert (row["fault"], row["time"]) == ("It is torn.", None)
    assert (refused.status, refused.json["type"]) == (409, "urn:gatepost:problem:receipt-damaged")


async def test_a_day_is_paged_and_every_question_is_audited() -> None:
    """Each page is a question; the row says who asked for what and stands before the answer."""
    bench = ApiBench()
    async with bench.served("roster") as client:
        first = (await client.get("/api/v1/roster/history?on=2026-03-02&limit=2")).json
        rest = (await client.get(f"/api/v1/roster/history?on=2026-03-02&limit=2&cursor={first['next']}")).json
        story = (await client.get("/api/v1/roster/history?serial=0048231907")).json
        unknown = await client.get("/api/v1/roster/history?serial=0000000001")
        revisions = (await client.get("/api/v1/roster/revisions?limit=2")).json
    assert [row["slot"] for row in first["access"] + rest["access"]] == [1, 2, 3]
    assert (rest["next"], first["story"], story["access"]) == (None, None, None)
    assert story["story"]["chapters"][0]["words"] == "is in slot 1"
    assert unknown.status == 404
    assert [row["number"] for row in revisions["revisions"]] == [3, 2]
    asked = [row for row in await bench.audit.read() if row.what == "history.read"]
    assert len(asked) == 4
    assert [dict(row.detail or {}).get("serial") for row in asked[:2]] == ["0000000001", "0048231907"]
    assert dict(asked[-1].detail or {}) == {"on": "2026-03-02"}


@pytest.mark.parametrize("path", ["/api/v1/roster/history?on=2026-03-02", "/api/v1/roster/revisions"])
async def test_history_needs_the_scope_of_names(path: str) -> None:
    """`view` alone has none of it, and leaves no answer behind."""
    async with ApiBench().served("view") as client:
        assert (await client.get(path)).status == 403


async def test_a_held_plan_is_refused_with_a_reason_that_is_audited() -> None:
    """Who, which, why; a reason is needed, and the scope `roster`."""
    bench = ApiBench()
    bench.store.plans.kept["p-held"] = replace(bench.plan, state=PlanState.HELD)
    async with bench.served("view") as client:
        assert (await client.post("/api/v1/plans/p-held/refusal", {"reason": "they stay"})).status == 403
    async with bench.served("roster") as client:
        assert (await client.post("/api/v1/plans/p-held/refusal", {"reason": ""})).status == 422
        found = await client.post("/api/v1/plans/p-held/refusal", {"reason": "they stay"})
    assert (found.status, found.json["state"]) == (200, "refused")
    row = (await bench.audit.read())[0]
    assert (row.what, row.outcome, dict(row.detail or {})["reason"]) == ("plan.refused", "done", "they stay")


async def test_a_change_says_what_it_gives_and_takes() -> None:
    """By position; counted by transmitter."""
    bench = ApiBench()
    before = Slot(1, 7, 4, (frozenset({1, 2}), frozenset({1})))
    after = Slot(1, 7, 4, (frozenset({1}), frozenset({1}), frozenset({2})))
    changes = (
        Change(ChangeKind.CHANGED, 1, before, after, "words"),
        Change(ChangeKind.ADDED, 2, None, replace(before, number=2, serial=8), "words"),
    )
    bench.store.plans.kept["p-held"] = replace(bench.plan, changes=changes)
    async with bench.served("view") as client:
        found = (await client.get("/api/v1/plans/p-held")).json
    assert [(change["gains"], change["loses"]) for change in found["changes"]] == [
        ({"3": [2]}, {"1": [2]}),
        ({"1": [1, 2], "2": [1]}, {}),
    ]
    assert (found["gaining"], found["losing"]) == (2, 1)
