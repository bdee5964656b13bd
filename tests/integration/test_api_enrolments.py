"""Enrolments, overrides and batches of revocations over HTTP: scopes, audit, bodies, answers."""

from __future__ import annotations

from gateway.errors import Refused
from tests.fakes.api_bench import SECRET_HOLDER, ApiBench

_PATH = "/api/v1/receivers/slip-gate/enrolments"
_NEW = "0048231950"


async def test_from_listening_to_a_row() -> None:
    """Started, seen, completed: the row as text, the plans, and who asked in the audit."""
    bench = ApiBench()
    async with bench.served("roster") as client:
        made = await client.post(_PATH, {"way": "two-presses"})
        assert (made.status, made.headers["Location"]) == (201, f"{_PATH}/e-1")
        assert made.json["state"] == "listening"
        assert "may move the gate" in made.json["caution"]
        bench.enrolments.confirm("e-1", int(_NEW))
        found = (await client.get(f"{_PATH}/e-1")).json
        assert (found["state"], found["confirmed"][0]["serial"], found["caution"]) == ("confirmed", _NEW, "")
        body = {"transmitters": [{"serial": _NEW, "holder": "Berth 40", "group": "berths"}], "in_force": True}
        done = (await client.post(f"{_PATH}/e-1/completion", body)).json
        assert done["rows"] == [f"{_NEW},Berth 40,,berths,,,,,"]
        assert done["csv"] == f"{done['header']}\n{done['rows'][0]}\n"
        assert done["brought"][0]["problem"] == "It does not answer."
        listed = (await client.get("/api/v1/overrides")).json
        assert [each["row"] for each in listed["overrides"]] == done["rows"]
        assert (await client.ask("DELETE", f"/api/v1/overrides/{_NEW}")).status == 204
        assert (await client.ask("DELETE", f"/api/v1/overrides/{_NEW}")).problem == "not-found"
    whats = [row.what for row in bench.audit.rows if row.outcome == "done"]
    assert whats == ["enrolment.started", "enrolment.completed", "override.withdrawn"]
    assert all(_NEW not in row.what for row in bench.audit.rows)


async def test_finished_and_cancelled() -> None:
    """Both answer with what it is then; the list has the newest first, page by page."""
    bench = ApiBench()
    async with bench.served("roster") as client:
        for _ in range(3):
            await client.post(_PATH, {"way": "several"})
        assert (await client.post(f"{_PATH}/e-1/end")).json["state"] == "ended"
        assert (await client.ask("DELETE", f"{_PATH}/e-2")).json["state"] == "cancelled"
        page = (await client.get(f"{_PATH}?limit=2")).json
        assert [each["id"] for each in page["enrolments"]] == ["e-3", "e-2"]
        rest = (await client.get(f"{_PATH}?limit=2&cursor={page['next']}")).json
        assert ([each["id"] for each in rest["enrolments"]], rest["next"]) == (["e-1"], None)
        assert (await client.get(f"{_PATH}/e-9")).problem == "not-found"


async def test_what_is_wrong_or_refused() -> None:
    """Ways, serials and seconds that don't exist; what the gateway refuses with its own code."""
    bench = ApiBench()
    async with bench.served("roster") as client:
        for body in (
            {"way": "shouting"},
            {"way": "typed", "serial": "123"},
            {"way": "typed", "serial": "9999999999"},
            {"way": "two-presses", "seconds": 61},
            {"way": "two-presses", "seconds": 0},
        ):
            assert (await client.post(_PATH, body)).problem == "body-invalid", body
        assert (await client.post("/api/v1/receivers/boathouse/enrolments", {"way": "several"})).problem == "not-found"
        assert (await client.post(f"{_PATH}/e-1/completion", {"transmitters": []})).problem == "body-invalid"
        bench.enrolments.refuse = Refused("It listens already.", remedy="Wait.", code="enrolment-running")
        refused = await client.post(_PATH, {"way": "two-presses"})
        assert (refused.status, refused.problem) == (409, "enrolment-running")


async def test_people_are_for_those_who_may_know_them() -> None:
    """Without the scope `roster` neither enrolments nor selections are seen."""
    async with ApiBench().served("view") as client:
        for path in (_PATH, "/api/v1/overrides", f"/api/v1/revocation-selections?holder={SECRET_HOLDER}"):
            assert (await client.get(path)).problem == "scope-insufficient"
        assert (await client.post(_PATH, {"way": "several"})).problem == "scope-insufficient"


async def test_a_holder_is_selected_and_revoked() -> None:
    """Seen first; then one revocation each, unless the selection is another one by now."""
    bench = ApiBench()
    bench.selections.kept = {SECRET_HOLDER: (48231907, 48231911)}
    async with bench.served("roster") as client:
        seen = (await client.get("/api/v1/revocation-selections", params={"holder": SECRET_HOLDER})).json
        serials = [each["serial"] for each in seen["transmitters"]]
        assert serials == ["0048231907", "0048231911"]
        batch = "/api/v1/revocation-batches"
        other = await client.post(batch, {"holder": SECRET_HOLDER, "reason": "left", "serials": serials[:1]})
        assert (other.status, other.problem) == (409, "selection-changed")
        assert bench.revocations.all() == ()
        done = await client.post(batch, {"holder": SECRET_HOLDER, "reason": "left", "serials": serials})
        assert done.status == 202
        assert [(each["serial"], each["reason"]) for each in done.json["revocations"]] == [
            (serial, "left") for serial in serials
        ]
        assert (await client.post(batch, {"reason": "left"})).problem == "body-invalid"
        assert (await client.get("/api/v1/revocation-selections")).problem == "query-invalid"
        assert (await client.post(batch, {"group": "nobody", "reason": "x"})).problem == "not-found"
