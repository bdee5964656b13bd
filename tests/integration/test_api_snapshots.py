"""Snapshots over the API: taken, listed by page, sent, taken in, compared; restores, approvals, the reset."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import aiohttp

from gateway.api.limits import Limits
from gateway.api.listeners import UnixListener
from gateway.domain.mirror import Mirror
from gateway.domain.wait import RosterWait
from gateway.errors import Refused
from gateway.ports import RestoreOrder
from tests.fakes.api_bench import SECRET_HOLDER, ApiBench
from tests.fakes.clock import FakeClock

RECEIVER = "/api/v1/receivers/slip-gate"


async def take(bench: ApiBench, count: int = 1) -> list[str]:
    assert isinstance(bench.clock, FakeClock)
    taken = []
    for _ in range(count):
        taken.append((await bench.shelf.take("slip-gate")).id)
        await bench.clock.advance(1)
    return taken


def change_mirror(bench: ApiBench) -> None:
    mirror: Mirror = bench.store.mirrors.kept["slip-gate"]
    slots = {number: slot for number, slot in mirror.slots.items() if number != 5}
    bench.store.mirrors.kept["slip-gate"] = replace(mirror, slots=slots)


async def test_taken_listed_and_sent() -> None:
    """201 with its place; two pages; the file itself for whoever may see people."""
    bench = ApiBench()
    async with bench.served("roster") as client:
        made = await client.post(f"{RECEIVER}/snapshots")
        assert (made.status, made.json["slots"], made.json["reason"]) == (201, 3, "asked")
        assert made.headers["Location"] == f"/api/v1/snapshots/{made.json['id']}"
        ids = [made.json["id"], *await take(bench, 2)]
        first = await client.get("/api/v1/snapshots?limit=2")
        second = await client.get(f"/api/v1/snapshots?limit=2&cursor={first.json['next']}")
        listed = [one["id"] for page in (first, second) for one in page.json["snapshots"]]
        assert sorted(listed) == sorted(ids)
        assert second.json["next"] is None
        own = await client.get("/api/v1/receivers/car-park/snapshots")
        assert own.json == {"snapshots": [], "next": None}
        file = await client.get(made.headers["Location"])
        assert file.json["id"] == made.json["id"]
        assert "attachment" in file.headers["Content-Disposition"]
        assert (await client.get("/api/v1/snapshots/..%2F..%2Fledger")).status == 404
    assert [row.what for row in bench.audit.rows] == ["snapshot.taken"] * 2


async def test_who_may_only_look_sees_no_people() -> None:
    """The list is for all, what is in a snapshot is not; nor may they restore."""
    bench = ApiBench()
    (taken,) = await take(bench)
    async with bench.served("view") as client:
        listed = await client.get("/api/v1/snapshots")
        assert listed.status == 200
        assert SECRET_HOLDER.encode() not in listed.body
        assert (await client.get(f"/api/v1/snapshots/{taken}")).problem == "scope-insufficient"
        assert (await client.post("/api/v1/comparisons", {"left": taken, "right": "slip-gate"})).status == 403
        assert (await client.post(f"{RECEIVER}/restores", {"snapshot": taken})).status == 403


async def test_a_comparison_in_words() -> None:
    """With a receiver, and with another snapshot."""
    bench = ApiBench()
    (taken,) = await take(bench)
    async with bench.served("roster") as client:
        same = await client.post("/api/v1/comparisons", {"left": taken, "right": "slip-gate"})
        assert (same.json["alike"], same.json["slots"]) == (True, [])
        change_mirror(bench)
        found = await client.post("/api/v1/comparisons", {"left": taken, "right": "slip-gate"})
        (missing,) = found.json["slots"]
        assert (found.json["alike"], missing["kind"], missing["serial"]) == (False, "missing", "0000000077")
        assert missing["words"].endswith("position 1 works output 1 (gate); position 3 works output 2 (lamp).")
        (later,) = await take(bench)
        assert len((await client.post("/api/v1/comparisons", {"left": later, "right": taken})).json["slots"]) == 1
        unread = await client.post("/api/v1/comparisons", {"left": taken, "right": "car-park"})
        assert (unread.status, unread.problem) == (409, "mirror-unread")
        assert (await client.post("/api/v1/comparisons", {"left": taken, "right": "nowhere"})).status == 404


async def test_a_file_is_taken_in_when_it_is_whole() -> None:
    """As it was exported; spoilt, of another type or too large it is not."""
    bench = ApiBench(limits=replace(Limits(), snapshot_bytes=20_000))
    (taken,) = await take(bench)
    async with bench.served("roster") as client:
        file = (await client.get(f"/api/v1/snapshots/{taken}")).json
        kept = await client.post("/api/v1/snapshots", file)
        assert (kept.status, kept.json["receiver"]) == (201, "import.slip-gate")
        spoilt = await client.post("/api/v1/snapshots", {**file, "revision": 1})
        assert (spoilt.status, spoilt.problem) == (409, "snapshot-damaged")
        text = await client.ask("POST", "/api/v1/snapshots", data=json.dumps(file).encode())
        assert text.problem == "body-type-unsupported"
        assert (await client.post("/api/v1/snapshots", {**file, "more": "x" * 30_000})).problem == "body-too-large"


async def test_a_restore_is_previewed_then_started_as_a_plan() -> None:
    """What to do first, in words; 202 with the plan's place; a repeated key starts it once."""
    bench = ApiBench()
    (taken,) = await take(bench)
    async with bench.served("admin") as client:
        body = {"snapshot": taken, "settings": True, "replacement": ""}
        preview = await client.post(f"{RECEIVER}/restore-previews", body)
        assert preview.status == 200, preview.body
        assert preview.json["board"] == ["Set output 2 (lamp) to latching at the board; it is timed now."]
        assert preview.json["plan"]["state"] == "preview"
        assert bench.restores.previewed == [RestoreOrder("slip-gate", taken, "restore", True, "")]
        for _ in range(2):
            started = await client.post(
                f"{RECEIVER}/restores", {**body, "replacement": "V-0002"}, headers={"Idempotency-Key": "once"}
            )
            assert started.status == 202
        assert started.headers["Location"] == f"/api/v1/plans/{started.json['id']}"
        ((order, asked_by),) = bench.restores.started
        assert (order.replacement, asked_by.startswith("token:")) == ("V-0002", True)
        assert (await client.get(started.headers["Location"])).json["reason"] == "restore"
        bench.restores.refuse = Refused("Of another.", code="snapshot-of-another")
        assert (await client.post(f"{RECEIVER}/restores", body)).problem == "snapshot-of-another"
    assert [row.outcome for row in bench.audit.rows if row.what == "snapshot.restored"] == [
        "asked", "done", "asked", "snapshot-of-another",
    ]  # fmt: skip


async def test_settings_and_a_replacement_need_admin() -> None:
    """Who may change the roster may bring transmitters back, no more."""
    bench = ApiBench()
    (taken,) = await take(bench)
    async with bench.served("roster") as client:
        for more in ({"settings": True}, {"replacement": "V-0002"}):
            for path in ("restores", "restore-previews"):
                refused = await client.post(f"{RECEIVER}/{path}", {"snapshot": taken, **more})
                assert (refused.status, refused.problem) == (403, "scope-insufficient")
        assert (await client.post(f"{RECEIVER}/restores", {"snapshot": taken})).status == 202


async def test_the_wait_is_seen_and_ended() -> None:
    """In the receiver's row, with what it waits for."""
    bench = ApiBench()
    since = datetime(2026, 3, 2, 9, tzinfo=UTC)
    bench.waits.kept["slip-gate"] = RosterWait("slip-gate", "restore", since, "local:0", "20260302T0", "p-1")
    async with bench.served("roster") as client:
        row = (await client.get(RECEIVER)).json["waiting"]
        assert row == {
            "reason": "restore",
            "since": "2026-03-02T09:00:00.000Z",
            "asked_by": "local:0",
            "snapshot": "20260302T0",
            "plan": "p-1",
            "snapshot_approved": False,
        }
        assert (await client.post(f"{RECEIVER}/approvals", {"approve": "both"})).problem == "body-invalid"
        ended = await client.post(f"{RECEIVER}/approvals", {"approve": "roster"})
        assert (ended.status, ended.json["waiting"]) == (200, None)
        assert (await client.post(f"{RECEIVER}/approvals", {"approve": "roster"})).status == 404
    assert [what for _, what, _ in bench.waits.approved] == ["roster"]


async def test_a_reset_comes_over_the_socket_alone(tmp_path: Path) -> None:
    """An admin's token does not do over the network; on the board the name goes along as it was typed."""
    bench = ApiBench()
    async with bench.served("admin") as client:
        refused = await client.post(f"{RECEIVER}/reset", {"name": "slip-gate"})
        assert (refused.status, refused.problem) == (403, "board-only")
    assert bench.clearing.cleared == []
    door = tmp_path / "api.sock"
    async with (
        bench.served(listeners=[UnixListener(door)]),
        aiohttp.ClientSession(connector=aiohttp.UnixConnector(str(door))) as session,
        session.post(f"http://localhost{RECEIVER}/reset", json={"name": "slip-gat"}) as answer,
    ):
        assert answer.status == 200
        assert (await answer.json())["reason"] == "reset"
    ((receiver, typed, who),) = bench.clearing.cleared
    assert (receiver, typed, who.startswith("local:")) == ("slip-gate", "slip-gat", True)
