"""What each resource says and does, over HTTP."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import aiohttp
import pytest

from gateway.api.limits import Limits
from gateway.domain.events import EventName
from gateway.domain.health import Health
from gateway.domain.plan import PlanState
from gateway.domain.receiver import Capability
from gateway.domain.roster import Fault
from gateway.errors import NoAnswer, Refused, StoreUnavailable
from gateway.ports import RosterCheck
from tests.fakes.api_bench import SECRET_HOLDER, ApiBench

_SLIP = "/api/v1/receivers/slip-gate"


async def test_health_tells_one_thing() -> None:
    """200 while all is well, 503 when not; nothing else is told to strangers. No restart mends a full disk."""
    bench = ApiBench()
    async with bench.served("view") as client:
        for health, live, ready in (
            (Health(), 200, 200),
            (Health(lacking=("journal",)), 200, 503),
            (Health(stuck=("watch",)), 503, 503),
        ):
            bench.health = health
            words = {200: {"status": "ok"}, 503: {"status": "not ok"}}
            for path, status in (("/healthz", ready), ("/healthz/ready", ready), ("/healthz/live", live)):
                found = await client.get(path, headers={"X-Probe": "1"})
                assert (found.status, found.json) == (status, words[status]), path
            told = (await client.get("/api/v1/gateway")).json["health"]
            assert (told["live"], told["ready"]) == (live == 200, ready == 200)
            assert (told["stuck"], told["lacking"]) == (list(health.stuck), list(health.lacking))


async def test_gateway_tells_its_state() -> None:
    """Clock trust, the journal's place, the next run."""
    bench = ApiBench()
    await bench.happen(EventName.INPUT_CHANGED)
    bench.trust.trusted = False
    async with bench.served("view") as client:
        found = (await client.get("/api/v1/gateway")).json
    assert found["clock"] == {"now": "2026-03-02T08:00:00.000Z", "trusted": False}
    assert found["journal"] == {"epoch": "m1", "newest": "m1-1", "oldest": "m1-1", "available": True}
    assert found["next_run"] == "2026-03-02T12:00:00.000Z"


async def test_status_has_its_age_and_names() -> None:
    """Values carry their age; a silent receiver's are not current."""
    async with ApiBench().served("view") as client:
        found = (await client.get(f"{_SLIP}/status")).json
        silent = (await client.get("/api/v1/receivers/car-park/status")).json
    assert found["current"] is True
    assert found["age_s"] == 0.0
    assert found["inputs"] == [
        {"number": 1, "name": "", "state": "normal"},
        {"number": 2, "name": "", "state": "violated"},
    ]
    assert found["outputs"][0] == {"number": 1, "name": "gate", "closed": False, "mode": "timed"}
    assert silent["current"] is False
    assert silent["age_s"] is None


async def test_holders_are_seen_with_the_scope_roster_alone() -> None:
    """GDPR 5(1)(c): neither names nor searches by name without it, in any resource."""
    bench = ApiBench()
    await bench.happen(EventName.TRANSMITTER_HEARD, serial="0048231907", holder=SECRET_HOLDER)
    paths = (f"{_SLIP}/slots", "/api/v1/plans/p-held", "/api/v1/events", "/api/v1/roster", "/api/v1/receivers")
    async with bench.served("view") as client:
        for path in paths:
            reply = await client.get(path)
            assert reply.status == 200
            assert SECRET_HOLDER.encode() not in reply.body
            assert b"Barge crew" not in reply.body
        assert (await client.get(f"{_SLIP}/slots?q=berth")).json["total"] == 0
        assert (await client.get(f"{_SLIP}/slots?q=8231907")).json["total"] == 1
        assert b"Berth" not in (await client.get("/metrics")).body
    async with bench.served("roster") as client:
        slots = (await client.get(f"{_SLIP}/slots")).json["slots"]
        assert slots[0]["holder"] == SECRET_HOLDER
        assert slots[2] == {
            "number": 5,
            "serial": "0000000077",
            "kind": 4,
            "outputs": {"1": [1], "3": [2]},
            "flags": 0,
            "name": "Barge crew",
            "holder": None,
            "revoked": False,
        }
        assert (await client.get(f"{_SLIP}/slots?q=bERTH")).json["total"] == 1
        plan = (await client.get("/api/v1/plans/p-held")).json
        assert plan["changes"][0]["words"] == "slot 5: Barge crew goes"
        assert (await client.get("/api/v1/events")).json["events"][0]["data"]["holder"] == SECRET_HOLDER


async def test_slots_page_by_cursor() -> None:
    """Pages join without gap or double, and the last has no next."""
    async with ApiBench().served("view") as client:
        numbers: list[int] = []
        cursor = ""
        while True:
            page = (await client.get(f"{_SLIP}/slots?limit=1{cursor}")).json
            numbers += [slot["number"] for slot in page["slots"]]
            if page["next"] is None:
                break
            cursor = f"&cursor={page['next']}"
        assert numbers == [1, 2, 5]
        foreign = await client.get(f"{_SLIP}/slots?cursor=abc")
        assert (foreign.status, foreign.problem) == (400, "cursor-invalid")


async def test_slots_are_not_sent_twice() -> None:
    """RFC 9110, 13.1.2: 304 while revision, roster and revocations stand; another page or caller has another tag."""
    bench = ApiBench()
    async with bench.served("view") as client:
        first = await client.get(f"{_SLIP}/slots")
        tag = first.headers["ETag"]
        again = await client.get(f"{_SLIP}/slots", headers={"If-None-Match": f'"x", W/{tag}'})
        assert (again.status, again.body, again.headers["ETag"]) == (304, b"", tag)
        assert (await client.get(f"{_SLIP}/slots?limit=1", headers={"If-None-Match": tag})).status == 200
        roster = {"Authorization": f"Bearer {await bench.token('roster')}", "If-None-Match": tag}
        assert (await client.get(f"{_SLIP}/slots", headers=roster)).status == 200
        await bench.revocations.revoke(77, asked_by="x", reason="y")
        changed = await client.get(f"{_SLIP}/slots", headers={"If-None-Match": tag})
        assert changed.status == 200
        assert changed.json["slots"][2]["revoked"] is True
        mirror = bench.store.mirrors.kept["slip-gate"]
        bench.store.mirrors.kept["slip-gate"] = replace(mirror, revision=413)
        newer = await client.get(f"{_SLIP}/slots", headers={"If-None-Match": changed.headers["ETag"]})
        assert newer.status == 200


async def test_settings_change_from_what_stands_there() -> None:
    """428 without a tag, 412 with an old one, then before and after and the new tag; the audit has no password."""
    bench = ApiBench()
    async with bench.served("admin") as client:
        tag = (await client.get(f"{_SLIP}/settings")).headers["ETag"]
        body = {"on_times_s": {"2": 45}, "password": "hunter2"}
        without = await client.ask("PATCH", f"{_SLIP}/settings", json=body)
        assert (without.status, without.problem) == (428, "precondition-required")
        done = await client.ask("PATCH", f"{_SLIP}/settings", json=body, headers={"If-Match": tag})
        assert done.status == 200
        assert done.json["before"]["on_times_s"] == {"1": 5, "2": 30}
        assert done.json["after"]["on_times_s"] == {"1": 5, "2": 45}
        stale = await client.ask("PATCH", f"{_SLIP}/settings", json=body, headers={"If-Match": tag})
        assert (stale.status, stale.problem) == (412, "precondition-failed")
        assert stale.headers["ETag"] == done.headers["ETag"] != tag
        weak = {"If-Match": f"W/{stale.headers['ETag']}"}
        assert (await client.ask("PATCH", f"{_SLIP}/settings", json=body, headers=weak)).status == 412
    (asked,) = bench.settings.asked
    assert (asked["on_times_s"], asked["password"], asked["local_programming"]) == ({2: 45}, "hunter2", None)
    assert [row.outcome for row in bench.audit.rows] == ["asked", "done"]
    assert bench.audit.rows[0].detail == {"receiver": "slip-gate", "on_times_s": {"2": 45}, "password": "set"}


@pytest.mark.parametrize(
    ("body", "pointers"),
    [
        ({"on_times_s": {"1": "5"}}, ["#/on_times_s/1"]),
        ({"on_times_s": {"1": -1}}, ["#/on_times_s/1"]),
        ({"on_times_s": {"a/b~": 5}}, ["#/on_times_s/a~1b~0"]),
        ({"on_time_s": 5, "local_programming": 1}, ["#/local_programming", "#/on_time_s"]),
        ({}, ["#"]),
        ([], ["#"]),
    ],
)
async def test_wrong_fields_are_named(body: Any, pointers: list[str]) -> None:
    """422 with a JSON Pointer (RFC 6901) to each; nothing is changed and nothing sent is repeated."""
    bench = ApiBench()
    async with bench.served("admin") as client:
        reply = await client.ask("PATCH", f"{_SLIP}/settings", json=body, headers={"If-Match": "*"})
    assert (reply.status, reply.problem) == (422, "body-invalid")
    assert sorted(each["pointer"] for each in reply.json["errors"]) == pointers
    assert not bench.settings.asked


async def test_a_password_is_never_repeated() -> None:
    """Not in the fault of a body that has one, nor in the audit when the change fails."""
    bench = ApiBench()
    async with bench.served("admin") as client:
        for body in ({"password": ["hunter2"]}, {"password": "hunter2", "x": "hunter2"}):
            reply = await client.ask("PATCH", f"{_SLIP}/settings", json=body, headers={"If-Match": "*"})
            assert reply.status == 422
            assert b"hunter2" not in reply.body
    assert "hunter2" not in str(bench.audit.rows)


async def test_what_a_map_lacks_is_absent() -> None:
    """404 rather than an error of the line, and the receiver does not list it."""
    bench = ApiBench()
    bench.services = replace(bench.services, capabilities={"slip-gate": frozenset({Capability.EVENTS})})
    async with bench.served("admin") as client:
        for path in ("settings", "slots"):
            reply = await client.get(f"{_SLIP}/{path}")
            assert (reply.status, reply.problem) == (404, "unsupported")
        assert (await client.get(_SLIP)).json["capabilities"] == ["events"]


async def test_line_and_memory_errors_are_told() -> None:
    """The receiver's silence is 504; an unread memory says what is missing."""
    bench = ApiBench()
    bench.settings.refuse = NoAnswer("slip-gate does not answer.", remedy="Check its power and the cable.")
    async with bench.served("admin") as client:
        silent = await client.get(f"{_SLIP}/settings")
        assert (silent.status, silent.problem) == (504, "no-answer")
        assert silent.json["remedy"] == "Check its power and the cable."
        unread = await client.get("/api/v1/receivers/car-park/slots")
        assert (unread.status, unread.problem) == (409, "mirror-unread")


async def test_confirming_names_who_answers() -> None:
    """Another serial than the one meant is refused; the right one, or none, confirms."""
    bench = ApiBench()
    async with bench.served("admin") as client:
        other = await client.post(f"{_SLIP}/confirmation", {"serial": "V-9999"})
        assert (other.status, other.problem) == (409, "identity-differs")
        assert not bench.keeper.confirmed
        assert (await client.post(f"{_SLIP}/confirmation", {"serial": "V-0001"})).status == 200
        assert (await client.ask("POST", f"{_SLIP}/confirmation")).status == 200
    assert bench.keeper.confirmed == ["slip-gate", "slip-gate"]


async def test_plans_preview_start_progress_approve() -> None:
    """200 for a look, 202 with a place to look for work, progress there, and who asked is passed on."""
    bench = ApiBench()
    async with bench.served("roster") as client:
        look = await client.post("/api/v1/plans", {"receiver": "slip-gate", "preview": True})
        assert (look.status, look.json["state"], look.json["removed"]) == (200, "preview", 1)
        assert not bench.sync.started
        begun = await client.post("/api/v1/plans", {"receiver": "slip-gate"})
        assert (begun.status, begun.headers["Location"]) == (202, "/api/v1/plans/p-1")
        bench.sync.under_way["p-1"] = (3, 40, "writing slot 5")
        seen = (await client.get(begun.headers["Location"])).json
        assert seen["progress"] == {"done": 3, "total": 40, "words": "writing slot 5"}
        approved = await client.post("/api/v1/plans/p-held/application")
        assert (approved.status, approved.headers["Location"]) == (202, "/api/v1/plans/p-held")
        assert bench.sync.approved == [("p-held", "token:t1")]
        assert (await client.get("/api/v1/plans?receiver=slip-gate&limit=1")).json["next"]
        assert (await client.get("/api/v1/plans/none")).status == 404
        bench.sync.refuse = Refused("There is no roster yet.", remedy="Fetch it first.", code="no-roster")
        refused = await client.post("/api/v1/plans", {"receiver": "slip-gate"})
        assert (refused.status, refused.problem) == (409, "no-roster")
    whats = [(row.what, row.outcome) for row in bench.audit.rows]
    assert whats == [
        ("plan.started", "asked"),
        ("plan.started", "done"),
        ("plan.approved", "asked"),
        ("plan.approved", "done"),
        ("plan.started", "asked"),
        ("plan.started", "no-roster"),
    ]


async def test_plans_that_are_not_over_are_asked_for_alone() -> None:
    """What waits for approval is found however many plans have ended since; of one receiver, or of all."""
    bench = ApiBench()
    bench.store.plans.kept["p-held"] = replace(bench.plan, state=PlanState.HELD)
    for number in range(60):
        ended = replace(bench.plan, id=f"p-{number}", state=PlanState.APPLIED)
        bench.store.plans.kept[ended.id] = ended
    async with bench.served("view") as client:
        found = (await client.get("/api/v1/plans?open=true")).json
        assert ([plan["id"] for plan in found["plans"]], found["next"]) == (["p-held"], None)
        assert (await client.get("/api/v1/plans?open=true&receiver=elsewhere")).json["plans"] == []


async def test_a_plan_sent_twice_is_made_once() -> None:
    """`Idempotency-Key`: the second answer is the first one; a failure frees the key."""
    bench = ApiBench()
    key = {"Idempotency-Key": "0f8fad5b-d9cb-469f-a165-70867728950e"}
    async with bench.served("roster") as client:
        first = await client.post("/api/v1/plans", {"receiver": "slip-gate"}, headers=key)
        again = await client.post("/api/v1/plans", {"receiver": "slip-gate"}, headers=key)
        assert (again.status, again.body, again.headers["Location"]) == (202, first.body, first.headers["Location"])
        assert again.headers["Idempotency-Replayed"] == "true"
        assert len(bench.sync.started) == 1
        other = await client.post("/api/v1/plans", {"receiver": "car-park"}, headers=key)
        assert (other.status, other.problem) == (422, "idempotency-key-reused")
        bench.sync.refuse = Refused("No.", code="no-roster")
        fresh = {"Idempotency-Key": "another"}
        assert (await client.post("/api/v1/plans", {"receiver": "slip-gate"}, headers=fresh)).status == 409
        bench.sync.refuse = None
        assert (await client.post("/api/v1/plans", {"receiver": "slip-gate"}, headers=fresh)).status == 202


async def test_revoking_and_lifting() -> None:
    """Durable at once with a place to see the proof; ten digits in and out; lifting needs a reason."""
    bench = ApiBench()
    async with bench.served("roster") as client:
        made = await client.post("/api/v1/revocations", {"serial": "0048231907", "reason": "lost on the pontoon"})
        place = "/api/v1/revocations/0048231907"
        assert (made.status, made.headers["Location"]) == (202, place)
        assert made.json["states"] == {"car-park": "pending", "slip-gate": "pending"}
        assert made.json["proven"] is False
        bench.revocations.proven |= {(48231907, "slip-gate"), (48231907, "car-park")}
        assert (await client.get(place)).json["proven"] is True
        assert len((await client.get("/api/v1/revocations")).json["revocations"]) == 1
        assert (await client.ask("DELETE", place)).status == 422
        assert (await client.ask("DELETE", f"{place}?reason=found")).status == 204
        assert (await client.ask("DELETE", f"{place}?reason=found")).status == 404
        assert (await client.get(place)).status == 404
        for bad in ("48231907", "0000000000", "4294967296", "00482319o7", 48231907):
            reply = await client.post("/api/v1/revocations", {"serial": bad, "reason": "x"})
            assert (reply.status, reply.json["errors"][0]["pointer"]) == (422, "#/serial")


async def test_a_revocation_works_when_the_audit_can_not_be_written() -> None:
    """A full disk stops changes, since none is unaudited, but never a revocation: the ledger has it."""
    bench = ApiBench()
    bench.audit.refuse = StoreUnavailable("The disk is full.", remedy="Free some space.")
    async with bench.served("admin") as client:
        plan = await client.post("/api/v1/plans", {"receiver": "slip-gate"})
        assert (plan.status, plan.problem) == (503, "store-unavailable")
        assert not bench.sync.started
        revoked = await client.post("/api/v1/revocations", {"serial": "0048231907", "reason": "lost"})
        assert revoked.status == 202
    assert [each.serial for each in bench.revocations.all()] == [48231907]


async def test_roster_state_and_fetch() -> None:
    """Counts for all, faults with the scope for it; a fetch asks the source."""
    bench = ApiBench()
    fault = Fault("roster.csv", 7, "serial", "4.82E+07", "write all digits")
    bench.roster.current = replace(bench.roster.current, faults=(fault,), problem="faulty")
    async with bench.served("view") as client:
        seen = (await client.get("/api/v1/roster")).json
        assert (seen["fault_count"], "faults" in seen) == (1, False)
    async with bench.served("roster") as client:
        fetched = await client.post("/api/v1/roster/fetches")
        assert fetched.json["faults"][0]["row"] == 7
    assert bench.roster.fetches == 1


async def test_a_roster_is_checked_in_three_forms() -> None:
    """JSON, CSV and a form reach the reader byte for byte, with the receivers' names; nothing is put in force."""
    bench = ApiBench()
    fault = Fault("roster.csv", 2, "serial", "x", "y")
    bench.reader.result = RosterCheck(None, (fault,), (), 0, 0)
    raw = "serial;holder\r\n1;\xc5berg\r\n".encode("cp1252")
    async with bench.served("roster") as client:
        path = "/api/v1/roster/checks"
        one = await client.post(path, {"roster": "a", "groups": "b"})
        assert one.json == {
            "ok": False,
            "transmitters": 0,
            "holders": 0,
            "faults": [{"file": "roster.csv", "row": 2, "column": "serial", "found": "x", "remedy": "y"}],
            "warnings": [],
        }
        assert (await client.ask("POST", path, data=raw, headers={"Content-Type": "text/csv"})).status == 200
        form = aiohttp.FormData()
        form.add_field("roster", raw, filename="roster.csv", content_type="text/csv")
        form.add_field("groups", b"[groups]\n", filename="groups.toml")
        assert (await client.ask("POST", path, data=form)).status == 200
        odd = await client.ask("POST", path, data=b"x", headers={"Content-Type": "image/png"})
        assert (odd.status, odd.problem) == (415, "body-type-unsupported")
        broken = {"Content-Type": "multipart/form-data"}
        assert (await client.ask("POST", path, data=b"x", headers=broken)).problem == "body-malformed"
        wrong = aiohttp.FormData()
        wrong.add_field("file", raw, filename="roster.csv")
        assert (await client.ask("POST", path, data=wrong)).problem == "body-invalid"
    given = [(roster, groups) for roster, groups, _ in bench.reader.checked]
    assert given == [(b"a", b"b"), (raw, None), (raw, b"[groups]\n")]
    assert {facts.name for facts in bench.reader.checked[0][2] or ()} == {"slip-gate", "car-park"}
    assert bench.roster.fetches == 0


async def test_bodies_are_limited() -> None:
    """413 over the limit, told by Content-Length or found while reading, JSON and form alike."""
    bench = ApiBench(limits=Limits(body_bytes=1000, roster_bytes=5000))

    async def chunks() -> Any:
        for _ in range(100):
            yield b"x" * 100

    async with bench.served("roster") as client:
        long = {"serial": "0048231907", "reason": "x" * 2000}
        assert (await client.post("/api/v1/revocations", long)).problem == "body-too-large"
        path, kind = "/api/v1/roster/checks", {"Content-Type": "text/csv"}
        assert (await client.ask("POST", path, data=b"x" * 5000, headers=kind)).status == 200
        assert (await client.ask("POST", path, data=b"x" * 5001, headers=kind)).problem == "body-too-large"
        assert (await client.ask("POST", path, data=chunks(), headers=kind)).problem == "body-too-large"
        form = aiohttp.FormData()
        form.add_field("roster", chunks(), filename="roster.csv")
        assert (await client.ask("POST", path, data=form)).problem == "body-too-large"
    assert len(bench.reader.checked) == 1


async def test_bodies_that_are_no_json() -> None:
    """400 for what can't be read, 415 for another type; unknown fields are 422."""
    async with ApiBench().served("roster") as client:
        path, kind = "/api/v1/revocations", {"Content-Type": "application/json"}
        for raw in (b"{", b"\xff", b"[" * 10000):
            reply = await client.ask("POST", path, data=raw, headers=kind)
            assert (reply.status, reply.problem) == (400, "body-malformed"), raw[:9]
        odd = await client.ask("POST", path, data=b"{}", headers={"Content-Type": "text/plain"})
        assert (odd.status, odd.problem) == (415, "body-type-unsupported")
        unknown = await client.post(path, {"serial": "0048231907", "reason": "x", "until": "soon"})
        assert unknown.json["errors"] == [{"pointer": "#/until", "detail": "there is no such field; leave it out"}]


async def test_queries_are_strict() -> None:
    """Unknown, doubled and wrong parameters are named."""
    async with ApiBench().served("view") as client:
        for query, name in (
            ("limit=0", "limit"),
            ("limit=501", "limit"),
            ("limit=5&limit=6", "limit"),
            ("sort=up", "sort"),
            ("name=input.exploded", "name"),
        ):
            reply = await client.get(f"/api/v1/events?{query}")
            assert (reply.status, reply.json["errors"][0]["parameter"]) == (422, name)


async def test_events_by_page_in_both_directions() -> None:
    """Newest first, or behind an id; filtered; pages join."""
    bench = ApiBench()
    for number in range(7):
        await bench.happen(EventName.INPUT_CHANGED, number=number)
    await bench.happen(EventName.LINK_LOST, "car-park")

    async with bench.served("view") as client:

        async def ids(query: str) -> list[str]:
            found: list[str] = []
            cursor = ""
            while True:
                page = (await client.get(f"/api/v1/events?{query}&limit=3{cursor}")).json
                found += [event["id"] for event in page["events"]]
                if page["next"] is None:
                    return found
                cursor = f"&cursor={page['next']}"

        assert await ids("") == [f"m1-{number}" for number in range(8, 0, -1)]
        assert await ids("after=m1-2") == [f"m1-{number}" for number in range(3, 9)]
        assert await ids("name=link.lost&name=link.restored") == ["m1-8"]
        assert await ids("receiver=slip-gate&after=m1-0") == [f"m1-{number}" for number in range(1, 8)]
        for gone in ("old-2", "m1-99"):
            reply = await client.get(f"/api/v1/events?after={gone}")
            assert (reply.status, reply.problem) == (410, "journal-restarted")
            assert "after=m1-0" in reply.json["remedy"]
        bench.store.journal.prune(3)
        assert (await client.get("/api/v1/events?after=m1-2")).status == 410
        assert await ids("after=m1-0") == ["m1-6", "m1-7", "m1-8"]
        assert (await client.get("/api/v1/events?after=nonsense")).problem == "cursor-invalid"


async def test_asking_who_was_heard_is_in_the_audit() -> None:
    """Once for each question; not without the scope that shows people, and not for every page or poll."""
    bench = ApiBench()
    async with bench.served("roster") as client:
        asked = "/api/v1/events?name=transmitter.heard"
        await client.get(f"{asked}&receiver=slip-gate")
        await client.get("/api/v1/events?name=input.changed")
        await client.get(f"{asked}&after={bench.store.journal.newest}")
    async with bench.served("view") as client:
        await client.get(asked)
    rows = [(row.what, row.detail) for row in await bench.audit.read() if row.what == "events.asked"]
    assert rows == [("events.asked", {"receivers": ["slip-gate"]})] * 2  # asked, and done


async def test_a_person_is_forgotten_and_the_audit_does_not_say_who() -> None:
    """By name or by serial, by an administrator alone; the answer counts, and names nobody."""
    bench = ApiBench()
    path = "/api/v1/forgettings"
    async with bench.served("admin") as client:
        done = await client.post(path, {"holder": SECRET_HOLDER})
        assert (done.status, done.json["serials"], done.json["revoked"]) == (200, ["0048231907"], ["0048231907"])
        assert (await client.post(path, {"serial": "0000000077"})).json["serials"] == ["0000000077"]
        seen = await client.post(f"{path}?preview=true", {"holder": SECRET_HOLDER})
        assert (seen.json["serials"], seen.json["presses"]) == (["0048231907"], 0)
        assert bench.forgetting.asked == [(None, SECRET_HOLDER), (77, "")]
        for body in ({}, {"holder": " "}, {"holder": "x", "serial": "0000000077"}, {"serial": "77"}, {"who": "x"}):
            assert (await client.post(path, body)).status == 422
        bench.forgetting.refuse = Refused("Still there.", remedy="Remove it.", code="still-held")
        refused = await client.post(path, {"holder": SECRET_HOLDER})
        assert (refused.status, refused.json["type"]) == (409, "urn:gatepost:problem:still-held")
    async with bench.served("roster") as client:
        assert (await client.post(path, {"holder": SECRET_HOLDER})).status == 403
    told = [row for row in await bench.audit.read() if row.what == "person.forgotten"]
    assert {row.outcome for row in told} == {"asked", "done", "still-held"}
    assert SECRET_HOLDER not in str(told)


async def test_tokens_are_shown_once() -> None:
    """The secret is in the answer to its making and nowhere else; a removed token works no more."""
    bench = ApiBench()
    async with bench.served("admin") as client:
        made = (await client.post("/api/v1/tokens", {"name": "desk", "scopes": ["view", "view"]})).json
        with_it = {"Authorization": f"Bearer {made['secret']}"}
        assert (await client.get("/api/v1/gateway", headers=with_it)).status == 200
        listed = await client.get("/api/v1/tokens")
        assert made["secret"].encode() not in listed.body
        assert listed.json["tokens"][1] == {key: made[key] for key in ("id", "name", "scopes", "created")}
        assert (await client.ask("DELETE", f"/api/v1/tokens/{made['id']}")).status == 204
        assert (await client.get("/api/v1/gateway", headers=with_it)).status == 401
        assert (await client.ask("DELETE", f"/api/v1/tokens/{made['id']}")).status == 404
        bad = await client.post("/api/v1/tokens", {"name": "a\nb", "scopes": ["owner"]})
        assert [each["pointer"] for each in bad.json["errors"]] == ["#/name", "#/scopes/0"]
        audit = (await client.get("/api/v1/audit?limit=2")).json
        assert audit["rows"][0]["what"] == "token.removed"
        assert audit["next"]
        older = (await client.get(f"/api/v1/audit?cursor={audit['next']}")).json
        assert [row["number"] for row in older["rows"]] == [4, 3, 2, 1]
    assert made["secret"] not in str(bench.audit.rows)


async def test_metrics_are_both_formats() -> None:
    """Prometheus text 0.0.4 by default, OpenMetrics when asked for; no `_created` series; state as numbers."""
    bench = ApiBench()
    await bench.happen(EventName.INPUT_CHANGED)
    async with bench.served("view") as client:
        plain = await client.get("/metrics")
        assert plain.headers["Content-Type"].startswith("text/plain; version=")
        open_kind = {"Accept": "application/openmetrics-text; version=1.0.0"}
        opened = await client.get("/metrics", headers=open_kind)
    text = plain.body.decode()
    assert 'gatepost_receiver_online{receiver="slip-gate"} 1.0' in text
    assert 'gatepost_receiver_online{receiver="car-park"} 0.0' in text
    assert 'gatepost_receiver_revision{receiver="slip-gate"} 412.0' in text
    assert "gatepost_journal_number 1.0" in text
    assert "_created" not in text
    assert opened.headers["Content-Type"].startswith("application/openmetrics-text; version=1.0.0")
    assert opened.body.endswith(b"# EOF\n")
    assert b'gatepost_http_requests_total{method="GET",operation="getMetrics",status="200"} 1.0' in opened.body


async def test_the_document_is_served() -> None:
    """What is served is the whole document."""
    async with ApiBench().served("view") as client:
        found = json.loads((await client.get("/api/v1/openapi.json")).body)
    assert found["openapi"] == "3.1.0"
    assert "/api/v1/events/stream" in found["paths"]


async def test_operations_of_an_output_that_there_is_not() -> None:
    """The receiver has two outputs; a list of what the third did would say that it has done nothing yet."""
    async with ApiBench().served("view") as client:
        assert (await client.get(f"{_SLIP}/outputs/2/operations")).status == 200
        for output in ("0", "3", "999", "x", "-1"):
            reply = await client.get(f"{_SLIP}/outputs/{output}/operations")
            assert (reply.status, reply.problem) == (404, "not-found"), output
