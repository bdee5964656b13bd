"""Names of outputs over HTTP: read, changed from what stands there, refused in words, written into the audit."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest

from gateway.domain.events import EventName
from gateway.ports import RosterAcceptance
from gateway.sync.drafting import InForce
from tests.fakes.api_bench import ApiBench, Client
from tests.fakes.sync_house import entry, roster

_NAMES = "/api/v1/receivers/slip-gate/output-names"


async def _change(client: Client, names: dict[str, Any], tag: str = "*", path: str = _NAMES) -> Any:
    return await client.ask("PATCH", path, json={"names": names}, headers={"If-Match": tag})


async def test_changed_from_what_stands_there_and_in_use_at_once() -> None:
    """Before and after, with the new tag; status, gates and outputs have the new name in their next answer."""
    bench = ApiBench()
    async with bench.served("admin") as client:
        found = await client.get(_NAMES)
        assert found.json["outputs"][0] == {"number": 1, "in_settings": "gate", "in_use": "gate", "former": []}
        tag = found.headers["ETag"]
        assert (await client.get(_NAMES, headers={"If-None-Match": tag})).status == 304
        done = await _change(client, {"1": "slip"}, tag)
        assert done.status == 200, done.body
        assert done.json["before"]["outputs"] == found.json["outputs"]
        assert done.json["after"]["outputs"][0]["in_use"] == "slip"
        now = await client.get(_NAMES)
        assert (now.headers["ETag"], now.json) == (done.headers["ETag"], done.json["after"])
        assert (await client.get("/api/v1/receivers/slip-gate/status")).json["outputs"][0]["name"] == "slip"
        assert (await client.get("/api/v1/gates")).json["gates"][0]["outputs"][0]["name"] == "slip"
        stale = await _change(client, {"1": "haven"}, tag)
        assert (stale.status, stale.problem) == (412, "precondition-failed")
        assert stale.headers["ETag"] == done.headers["ETag"]
        back = await _change(client, {"1": ""}, done.headers["ETag"])
        assert back.json["after"]["outputs"][0] == {
            "number": 1, "in_settings": "gate", "in_use": "gate", "former": ["slip"],
        }  # fmt: skip
    first, _ = bench.store.journal.all(EventName.SETTINGS_CHANGED)
    assert first.data["output_names"] == [{"output": 1, "before": "gate", "after": "slip"}]
    assert first.data["asked_by"]
    rows = [(row.what, row.outcome, dict(row.detail or {})["names"]) for row in bench.audit.rows]
    assert rows[:2] == [("settings.changed", "asked", {"1": "slip"}), ("settings.changed", "done", {"1": "slip"})]


async def test_of_two_at_once_one_is_refused() -> None:
    """Both started from the same state; nobody is overwritten unseen."""
    bench = ApiBench()
    async with bench.served("admin") as client:
        tag = (await client.get(_NAMES)).headers["ETag"]
        answers = await asyncio.gather(*(_change(client, {"1": f"slip-{number}"}, tag) for number in range(5)))
        assert sorted(answer.status for answer in answers) == [200, 412, 412, 412, 412]
        won = next(number for number, answer in enumerate(answers) if answer.status == 200)
        assert (await client.get(_NAMES)).json["outputs"][0]["in_use"] == f"slip-{won}"


async def test_a_change_must_say_what_it_starts_from() -> None:
    """428 without; a weak tag is none (RFC 9110, 13.1.1)."""
    async with ApiBench().served("admin") as client:
        without = await client.ask("PATCH", _NAMES, json={"names": {"1": "slip"}})
        assert (without.status, without.problem) == (428, "precondition-required")
        weak = "W/" + (await client.get(_NAMES)).headers["ETag"]
        assert (await _change(client, {"1": "slip"}, weak)).status == 412


async def test_seen_by_all_and_changed_by_admins_alone() -> None:
    """As the other settings."""
    for scope in ("view", "roster", "operate"):
        async with ApiBench().served(scope) as client:
            assert (await client.get(_NAMES)).status == 200
            refused = await _change(client, {"1": "slip"})
            assert (refused.status, refused.problem) == (403, "scope-insufficient")


async def test_any_receiver_without_asking_it() -> None:
    """Also one that does not answer; an unknown one is told with those that there are."""
    async with ApiBench().served("admin") as client:
        silent = await _change(client, {"1": "boom"}, path="/api/v1/receivers/car-park/output-names")
        assert silent.json["after"]["outputs"][0]["in_use"] == "boom"
        for method in ("GET", "PATCH"):
            unknown = await client.ask(
                method,
                "/api/v1/receivers/boat-shed/output-names",
                json={"names": {"1": "x"}},
                headers={"If-Match": "*"},
            )
            assert (unknown.status, unknown.problem) == (404, "not-found")
            assert "slip-gate" in unknown.json["remedy"]


@pytest.mark.parametrize(
    ("names", "status", "code"),
    [
        ({}, 422, "body-invalid"),
        ({"one": "slip"}, 422, "body-invalid"),
        ({"1": None}, 422, "body-invalid"),
        ({"1": 5}, 422, "body-invalid"),
        ({"1": "slip gate"}, 422, "output-name-unfit"),
        ({"1": "<script>"}, 422, "output-name-unfit"),
        ({"1": "a/b"}, 422, "output-name-unfit"),
        ({"1": "a:b"}, 422, "output-name-unfit"),
        ({"1": "x" * 1000}, 422, "output-name-unfit"),
        ({"1": "42"}, 422, "output-name-unfit"),
        ({"1": "2"}, 422, "output-name-unfit"),
        ({"9": "slip"}, 422, "no-such-output"),
        ({"-1": "slip"}, 422, "no-such-output"),
        ({"1": "LAMP"}, 409, "output-name-taken"),
        ({"1": "slip", "2": "slip"}, 409, "output-name-taken"),
    ],
)
async def test_hostile_names_are_refused_in_words(names: dict[str, Any], status: int, code: str) -> None:
    """Nothing is changed, and nothing long gets into the audit."""
    bench = ApiBench()
    async with bench.served("admin") as client:
        before = (await client.get(_NAMES)).json
        refused = await _change(client, names)
        assert (refused.status, refused.problem) == (status, code)
        assert refused.json["remedy"]
        assert (await client.get(_NAMES)).json == before
    assert all(len(str(row.detail)) < 200 for row in bench.audit.rows)


async def test_a_name_by_which_the_roster_writes_another_output() -> None:
    """409, with where it stands."""
    bench = ApiBench()
    bench.rosters.in_force = InForce(
        roster(entry(1, "1:slip-gate/gate")), RosterAcceptance("d1", bench.clock.now())
    )  # fmt: skip
    async with bench.served("admin") as client:
        assert (await _change(client, {"1": "slip"})).status == 200
        refused = await _change(client, {"2": "gate"})
        assert (refused.status, refused.problem) == (409, "output-name-in-roster")
        assert "row 2" in refused.json["detail"]
