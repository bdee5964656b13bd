"""Editing people over HTTP, over a real desk and real files: what each request must say, and what it may not do."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from aiohttp import FormData

from tests.fakes.api_bench import ApiBench, Client, Reply
from tests.fakes.people import some_person
from tests.unit.sync.test_own_roster import Desk

PEOPLE, GROUPS, FILES = "/api/v1/people", "/api/v1/roster/groups", "/api/v1/roster/files"
ROW = {"serial": "0000000012", "holder": "Berth 12", "rights": ["1:slip-gate/gate"]}


@asynccontextmanager
async def served(state: Path, *scopes: str) -> AsyncIterator[Client]:
    """An API whose roster is kept in this folder."""
    desk, bench = Desk(state), ApiBench()
    one, two = some_person(12, "Berth 12").cards[0], some_person(13, "Berth 12").cards[0]
    bench.people.kept = [replace(some_person(12, "Berth 12"), cards=(one, two))]
    bench.services = replace(bench.services, own_roster=desk.own, roster=desk.rosters)
    async with bench.served(*scopes) as client:
        yield client


async def add(client: Client, **more: object) -> Reply:
    reply = await client.post(PEOPLE, {**ROW, **more})
    assert reply.status == 201, reply.body
    return reply


async def test_a_row_from_adding_to_removing(tmp_path: Path) -> None:
    """Each change names what it starts from, and answers with the next tag and with words."""
    async with served(tmp_path, "roster") as client:
        added = await add(client)
        await add(client, serial="0000000013")
        assert added.json["revision"]["number"] == 1
        path = f"{PEOPLE}/0000000012"
        tag = (await client.get(path)).headers["ETag"]
        assert added.headers["ETag"] == tag
        body = {"holder": "Berth 14", "everywhere": True}
        changed = await client.ask("PATCH", path, json=body, headers={"If-Match": tag})
        assert len(changed.json["words"]) == 2
        stale = await client.ask("DELETE", path, headers={"If-Match": tag})
        assert (stale.problem, (await client.ask("DELETE", path)).problem) == (
            "precondition-failed",
            "precondition-required",
        )
        gone = await client.ask("DELETE", path, headers={"If-Match": changed.headers["ETag"]})
        assert gone.status == 200
        assert "ETag" not in gone.headers
        assert (await client.ask("DELETE", path, headers={"If-Match": "*"})).problem == "not-found"
        edits = (await client.get("/api/v1/roster/edits?limit=2")).json
        assert [each["number"] for each in edits["edits"]] == [4, 3]
        rest = (await client.get(f"/api/v1/roster/edits?limit=9&cursor={edits['next']}")).json
        assert ([each["number"] for each in rest["edits"]], rest["next"]) == ([2, 1], None)


@pytest.mark.parametrize(
    ("body", "problem"),
    [
        ({**ROW, "group": "x"}, "body-invalid"),
        ({**ROW, "copy_of": "0000000013"}, "body-invalid"),
        ({**ROW, "serial": "9999999999"}, "body-invalid"),
        ({**ROW, "rights": ["gate"]}, "body-invalid"),
        ({**ROW, "colour": "red"}, "body-invalid"),
        ({"serial": "0000000012", "holder": "Berth 12"}, "roster-faulty"),
        ({"serial": "0000000012", "holder": "x", "copy_of": "0000000099"}, "not-found"),
        ({**ROW, "valid_until": "31/12/2026"}, "roster-faulty"),
    ],
)
async def test_what_can_not_be_added(tmp_path: Path, body: dict[str, object], problem: str) -> None:
    """Each with its own code; nothing is kept."""
    async with served(tmp_path, "roster") as client:
        assert (await client.post(PEOPLE, body)).problem == problem
        assert (await client.get("/api/v1/roster/edits")).json["edits"] == []


async def test_groups_and_files_need_what_they_start_from(tmp_path: Path) -> None:
    """Where there is something; a first group, and first files, need nothing."""
    async with served(tmp_path, "roster") as client:
        await add(client)
        rights = {"rights": {"slip-gate": {"1": ["gate"]}}}
        made = await client.ask("PUT", f"{GROUPS}/hoist%20crew", json=rights)
        assert made.status == 200, made.body
        assert (await client.ask("PUT", f"{GROUPS}/hoist%20crew", json=rights)).problem == "precondition-required"
        renamed = await client.ask(
            "PUT", f"{GROUPS}/hoist%20crew", json={"name": "crew"}, headers={"If-Match": made.headers["ETag"]}
        )
        assert renamed.json["words"] == ["group crew is new: 1:slip-gate/gate", "group hoist crew is gone"]
        found = (await client.get(GROUPS)).json
        assert ([each["name"] for each in found["groups"]], found["editable"]) == (["crew"], True)
        exported = await client.get(f"{FILES}/roster.csv")
        assert exported.headers["Content-Type"].startswith("text/csv")
        csv = exported.body.replace(b"Berth 12", b"Berth 15")
        headers = {"Content-Type": "text/csv"}
        assert (await client.ask("PUT", FILES, data=csv, headers=headers)).problem == "precondition-required"
        put = await client.ask("PUT", FILES, data=csv, headers={**headers, "If-Match": exported.headers["ETag"]})
        assert (put.status, put.json["revision"]["how"]) == (200, "imported")
        assert (await client.get(f"{FILES}/roster.csv")).body == csv
        assert (await client.get(f"{FILES}/groups.toml")).problem == "not-found"
        assert (await client.get(f"{FILES}/roster.csv?revision=1")).status == 200


async def test_workbooks_go_out_and_come_in(tmp_path: Path) -> None:
    """The kept roster as either kind, an older revision too; sent back, its faults have its own sheets and rows."""
    async with served(tmp_path, "roster") as client:
        await add(client)
        await client.ask("PUT", f"{GROUPS}/crew", json={"rights": {"slip-gate": {"1": ["gate"]}}})
        for form, kind in (("xlsx", "spreadsheetml.sheet"), ("ods", "opendocument.spreadsheet")):
            book = await client.get(f"{FILES}/roster.{form}")
            assert book.headers["Content-Type"].endswith(kind)
            assert f'filename="roster.{form}"' in book.headers["Content-Disposition"]
            assert (await client.get(f"{FILES}/roster.{form}?revision=1")).body != book.body
            whole = FormData()
            whole.add_field("roster", book.body, filename=f"roster.{form}")
            same = await client.ask("PUT", FILES, data=whole, headers={"If-Match": book.headers["ETag"]})
            assert (same.status, same.json["revision"]) == (200, None)
            cut = FormData()
            cut.add_field("roster", book.body[:-40], filename=f"roster.{form}")
            refused = await client.ask("PUT", FILES, data=cut, headers={"If-Match": book.headers["ETag"]})
            assert refused.problem == "roster-faulty"
            place = refused.json["errors"][0]
            assert (place["parameter"], "cut" in place["detail"], "roster" in place["detail"]) == (
                "roster",
                True,
                False,
            )


async def test_an_edit_can_be_looked_at_first(tmp_path: Path) -> None:
    """The same words, faults and conflicts as the edit itself; nothing is kept, nothing stands in the audit."""
    async with served(tmp_path, "roster") as client:
        seen = await client.post(f"{PEOPLE}?preview=true", ROW)
        assert (seen.json["revision"], seen.json["in_force"], len(seen.json["words"])) == (None, False, 1)
        faulty = await client.post(f"{PEOPLE}?preview=true", {**ROW, "valid_until": "31/12/2026"})
        assert faulty.problem == "roster-faulty"
        assert (await client.get("/api/v1/roster/edits")).json["edits"] == []
        added = await add(client)
        assert added.json["words"] == seen.json["words"]
        path, tag = f"{PEOPLE}/0000000012?preview=true", {"If-Match": added.headers["ETag"]}
        assert (await client.ask("DELETE", path, headers={"If-Match": '"x"'})).problem == "precondition-failed"
        noted = await client.ask("PATCH", path, json={"note": "spare"}, headers=tag)
        assert noted.json["words"] == ["Berth 12, transmitter 0000000012: note none → spare"]
        group = await client.ask("PUT", f"{GROUPS}/crew?preview=true", json={"rights": {"slip-gate": {"1": ["gate"]}}})
        assert group.json["words"] == ["group crew is new: 1:slip-gate/gate"]
        assert len((await client.get("/api/v1/roster/edits")).json["edits"]) == 1


async def test_a_site_with_a_central_file_is_edited_there() -> None:
    """Every edit is refused with where to go; looking still works."""
    async with ApiBench().served("roster") as client:
        assert (await client.post(PEOPLE, ROW)).problem == "roster-elsewhere"
        for path in (
            "/api/v1/roster/edits",
            f"{FILES}/roster.csv",
            f"{FILES}/groups.toml",
            f"{FILES}/roster.xlsx",
            f"{FILES}/roster.ods",
        ):
            assert (await client.get(path)).problem == "roster-elsewhere"
        assert (await client.get(PEOPLE)).json["editable"] is False
        assert (await client.get(GROUPS)).json["editable"] is False
        assert (await client.post("/api/v1/roster/first-rosters", {})).problem == "nothing-held"
