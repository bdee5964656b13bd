"""Visit sheets over HTTP: shown, ticked with who, unticked, and what a receiver holds in each form."""

from __future__ import annotations

from typing import Any

import aiohttp
import pytest

from gateway.domain.roster import Entry, Fault, Roster
from gateway.ports import Holding, RosterCheck
from tests.fakes.api_bench import ApiBench

_SHEET = "/api/v1/receivers/boat-shed/visit-sheet"
_HOLDINGS = "/api/v1/receivers/boat-shed/holdings"


async def test_the_sheet_is_shown_and_tagged() -> None:
    """Lines in order with words and counts; the tag stays while the sheet does, whatever the time."""
    bench = ApiBench()
    async with bench.served("roster") as client:
        shown = await client.get(_SHEET)
        assert [(line["number"], line["work"], line["state"]) for line in shown.json["lines"]] == [
            (7, "remove", "open"),
            (8, "learn", "open"),
        ]
        assert shown.json["counts"] == {"holdings_known": True, "open": 2, "ticked": 0, "owed": 1}
        again = await client.get(_SHEET, headers={"If-None-Match": shown.headers["ETag"]})
        assert again.status == 304


async def test_a_tick_has_who_and_when_and_is_audited() -> None:
    """Done by hand, not proven; and it can be taken back."""
    bench = ApiBench()
    async with bench.served("roster") as client:
        done = await client.ask("PUT", f"{_SHEET}/lines/7/tick", json={"done_by": "Barge crew"})
        assert done.status == 200
        tick = done.json["tick"]
        assert (tick["done_by"], tick["proven"], done.json["state"]) == ("Barge crew", False, "ticked")
        assert tick["asked_by"].startswith("token:")
        assert (await client.ask("PUT", f"{_SHEET}/lines/8/tick")).status == 200
        back = await client.ask("DELETE", f"{_SHEET}/lines/7/tick")
        assert (back.json["tick"], back.json["state"]) == (None, "open")
    rows = [(row.what, row.outcome) for row in bench.audit.rows]
    assert rows[:2] == [("visit_line.ticked", "asked"), ("visit_line.ticked", "done")]
    assert rows[-1] == ("visit_line.unticked", "done")
    assert bench.audit.rows[0].detail == {
        "receiver": "boat-shed", "line": 7, "done_by": "Barge crew", "proven": False
    }  # fmt: skip


@pytest.mark.parametrize("number", ["99", "x", "-1", "9" * 30, "٣"])
async def test_a_line_that_is_not_there(number: str) -> None:
    """Is not found, whatever is written for it."""
    async with ApiBench().served("roster") as client:
        assert (await client.ask("PUT", f"{_SHEET}/lines/{number}/tick")).problem == "not-found"


async def test_without_the_scope_nobody_is_named() -> None:
    """The sheet has names on it."""
    async with ApiBench().served("view") as client:
        assert (await client.get(_SHEET)).problem == "scope-insufficient"


@pytest.mark.parametrize(
    ("body", "held"),
    [
        ({"empty": True}, []),
        ({"snapshot": "20260302T080000Z-001-boat-shed"}, "20260302T080000Z-001-boat-shed"),
        (
            {"transmitters": [{"serial": "0048231907", "outputs": {"1": ["1"], "2": ["2", "1"]}, "name": "Berth 12"}]},
            [Holding(48231907, {1: [1], 2: [2, 1]}, "Berth 12")],
        ),
    ],
)
async def test_what_it_holds(body: dict[str, Any], held: object) -> None:
    """Nothing, a snapshot, or what is typed."""
    bench = ApiBench()
    async with bench.served("roster") as client:
        assert (await client.ask("PUT", _HOLDINGS, json=body)).status == 200
    assert bench.visit_sheets.held == held
    assert bench.audit.rows[-1].what == "holdings.set"


@pytest.mark.parametrize(
    "body",
    [{}, {"empty": False}, {"empty": True, "snapshot": "x"}, {"transmitters": [{"serial": "1", "outputs": {}}]}],
)
async def test_what_can_not_be_meant_is_refused(body: dict[str, Any]) -> None:
    """Exactly one way of saying it, and whole serials."""
    bench = ApiBench()
    async with bench.served("roster") as client:
        assert (await client.ask("PUT", _HOLDINGS, json=body)).problem == "body-invalid"
    assert bench.visit_sheets.held is None


async def test_a_list_is_read_as_a_roster_is() -> None:
    """Byte by byte as the file is; a faulty one is refused with its first fault and changes nothing."""
    bench = ApiBench()
    listed = Roster((Entry(2, 1, "Berth 1"),), "d")
    bench.reader.result = RosterCheck(listed, (), ())
    async with bench.served("roster") as client:
        form = aiohttp.FormData()
        form.add_field("roster", b"serial\xff", filename="list.csv")
        assert (await client.ask("PUT", _HOLDINGS, data=form)).status == 200
        assert bench.visit_sheets.held == listed
        assert bench.reader.checked[-1][0] == b"serial\xff"
        fault = Fault("list.csv", 3, "serial", "“x”", "write ten digits")
        bench.reader.result, bench.visit_sheets.held = RosterCheck(None, (fault,), ()), None
        refused = await client.ask("PUT", _HOLDINGS, data=b"serial", headers={"Content-Type": "text/csv"})
        assert refused.problem == "holdings-unfit"
        assert "row 3, serial" in refused.json["detail"]
    assert bench.visit_sheets.held is None
