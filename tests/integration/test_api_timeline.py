"""The timeline over HTTP: sentences, filters, pages, export and counts; on the real store and on the fake one."""

from __future__ import annotations

import csv
import io
from collections.abc import AsyncIterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from gateway.domain.events import EventDraft, EventName
from gateway.ports import Commit, EventFilter
from gateway.store.opening import Store, open_store
from tests.fakes.api_bench import ApiBench, Client
from tests.fakes.clock import FakeClock
from tests.fakes.use_cases import FakeTrust

MARKUP = "<img src=x onerror=alert(1)>"


def _press(serial: str = "0048231907", holder: str = "Berth 12", **more: Any) -> dict[str, Any]:
    return {"serial": serial, "holder": holder, "position": "1", "outputs": [1], "known": True, **more}


@pytest.fixture
async def bench() -> AsyncIterator[tuple[ApiBench, Client]]:
    """An API whose caller may see people, with a quiet morning behind it."""
    found = ApiBench()
    await found.happen(EventName.GATEWAY_STARTED, "", version="1")
    await found.happen(EventName.TRANSMITTER_HEARD, **_press())
    await found.happen(EventName.TRANSMITTER_HEARD, **_press("0048231911", MARKUP))
    await found.happen(EventName.TRANSMITTER_HEARD, "car-park", **_press("0048231911", "=2+5"))
    await found.happen(EventName.LINK_LOST, "car-park", problem="It does not answer.")
    async with found.served("roster") as client:
        yield found, client


async def _sentences(client: Client, query: str = "") -> list[str]:
    reply = await client.get(f"/api/v1/timeline{query}")
    assert reply.status == 200, reply.body
    return [row["sentence"] for row in reply.json["rows"]]


async def test_newest_first_in_sentences(bench: tuple[ApiBench, Client]) -> None:
    """Names are text, whatever they look like."""
    sentences = await _sentences(bench[1])
    assert sentences[0] == "Car Park can't be reached: It does not answer."
    assert sentences[2] == f"{MARKUP} used Slip gate (position 1)."
    assert sentences[-1] == "The gateway started."


async def test_who_asked_is_told_by_name() -> None:
    """The token's name, to whoever may know people; a token that is gone by its id; the board's own user as that."""
    bench = ApiBench()
    token, _ = await bench.store.tokens.add("gate office", ("operate",))
    for asked_by in (f"token:{token.id}", "token:zz99", "local:0"):
        await bench.happen(EventName.OUTPUT_OPERATED, output=1, asked_by=asked_by)
    async with bench.served("roster") as client:
        asked = [sentence.rpartition(" by ")[2] for sentence in await _sentences(client)]
        assert asked == ["root on the gateway.", "token zz99.", "gate office."]
    async with bench.served("view") as client:
        assert "gate office" not in " ".join(await _sentences(client))


async def test_filters(bench: tuple[ApiBench, Client]) -> None:
    """By gate, by kind, by part of a name or serial, by day of the site; all that is given must fit."""
    _, client = bench
    assert len(await _sentences(client, "?gate=slip-gate")) == 2
    assert len(await _sentences(client, "?kind=use")) == 3
    assert len(await _sentences(client, "?kind=use&kind=gateway")) == 4
    assert await _sentences(client, "?who=BERTH") == ["Berth 12 used Slip gate (position 1)."]
    assert len(await _sentences(client, "?who=231911")) == 2
    assert len(await _sentences(client, "?who=231911&gate=slip-gate")) == 1
    assert await _sentences(client, "?from_day=2031-01-01") == []
    assert await _sentences(client, "?to_day=1999-01-01") == []
    assert (await client.get("/api/v1/timeline?kind=lunch")).problem == "query-invalid"


async def test_pages_hold_everything_once(bench: tuple[ApiBench, Client]) -> None:
    """Also while more happens, and when hardly anything fits."""
    api, client = bench
    for number in range(1200):
        await api.happen(EventName.INPUT_CHANGED, input=2, violated=bool(number % 2))
    found, cursor = [], ""
    for _ in range(20):
        page = (await client.get(f"/api/v1/timeline?limit=300{cursor}")).json
        found += [row["id"] for row in page["rows"]]
        await api.happen(EventName.INPUT_CHANGED, input=2, violated=True)
        if page["next"] is None:
            break
        cursor = f"&cursor={page['next']}"
    assert len(found) == len(set(found)) == 1205
    page = (await client.get("/api/v1/timeline?who=berth&limit=1")).json
    assert [row["holder"] for row in page["rows"]] == ["Berth 12"]


async def test_a_search_looks_through_so_much_and_goes_on() -> None:
    """A page may be empty and still have a next one."""
    api = ApiBench()
    await api.happen(EventName.TRANSMITTER_HEARD, **_press())
    drafts = tuple(EventDraft(EventName.INPUT_CHANGED, "slip-gate", {"input": 2}) for _ in range(6000))
    await api.store.journal.commit(Commit(events=drafts))
    async with api.served("roster") as client:
        first = (await client.get("/api/v1/timeline?who=berth")).json
        assert (first["rows"], first["next"] is None) == ([], False)
        second = (await client.get(f"/api/v1/timeline?who=berth&cursor={first['next']}")).json
        assert (len(second["rows"]), second["next"]) == (1, None)


async def test_without_the_scope_nobody_is_named(bench: tuple[ApiBench, Client]) -> None:
    """Neither in a sentence nor by looking for them."""
    api, client = bench
    headers = {"Authorization": f"Bearer {await api.token('view')}"}
    page = (await client.get("/api/v1/timeline", headers=headers)).json
    assert "Berth" not in str(page)
    assert "holder" not in page["rows"][0]
    assert (await client.get("/api/v1/timeline?who=berth", headers=headers)).json["rows"] == []
    assert (await client.get("/api/v1/timeline/export", headers=headers)).problem == "scope-insufficient"


async def test_asking_for_somebody_is_in_the_audit(bench: tuple[ApiBench, Client]) -> None:
    """Who used the gate is a question that leaves a trace; turning the page does not leave another."""
    api, client = bench
    await client.get("/api/v1/timeline?who=berth")
    await client.get("/api/v1/timeline?gate=slip-gate")
    await client.get("/api/v1/timeline/export?kind=use")
    asked = [(row.what, dict(row.detail or {})) for row in api.audit.rows if row.outcome == "done"]
    assert asked == [("timeline.asked", {"who": "berth"}), ("timeline.exported", {"kind": ["use"]})]


async def test_the_export_is_safe_in_a_spreadsheet(bench: tuple[ApiBench, Client]) -> None:
    """Read by Python's csv: every row, names as text, formulas disarmed, times of the site."""
    reply = await bench[1].get("/api/v1/timeline/export")
    assert reply.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert "attachment" in reply.headers["Content-Disposition"]
    assert reply.headers["X-Content-Type-Options"] == "nosniff"
    rows = list(csv.DictReader(io.StringIO(reply.body.decode("utf-8-sig"), newline="")))
    assert len(rows) == 5
    assert [row["who"] for row in rows] == ["", "'=2+5", MARKUP, "Berth 12", ""]
    assert rows[1]["what happened"].startswith("'=2+5 used")
    for row in rows:
        assert all(not str(cell).startswith(("=", "+", "-", "@")) for cell in row.values())
        assert datetime.fromisoformat(row["time"]).tzinfo


async def test_counts_by_day_and_hour(bench: tuple[ApiBench, Client]) -> None:
    """Of the gate's own outputs; every day and hour is there."""
    _, client = bench
    use = (await client.get("/api/v1/use?gate=slip-gate")).json
    assert len(use["days"]) == 30
    assert len(use["hours"]) == 24
    assert use["days"][-1]["presses"] == sum(each["presses"] for each in use["hours"]) == 2
    assert (await client.get("/api/v1/use?gate=none")).problem == "not-found"
    assert (await client.get("/api/v1/use?from_day=2020-01-01&to_day=2026-01-01")).problem == "query-invalid"


@pytest.fixture
async def store(tmp_path: Path) -> AsyncIterator[tuple[FakeClock, Store]]:
    """A real database."""
    clock = FakeClock()
    found = await open_store(tmp_path, clock, FakeTrust(), boot_id="b")
    yield clock, found
    await found.close()


async def test_the_store_counts_and_finds_as_the_fake_does(store: tuple[FakeClock, Store]) -> None:
    """The same answers from SQLite, over the hours in which a zone's clocks change (Europe/London, 2026)."""
    clock, real = store
    bench = ApiBench(clock=clock)
    for place, outputs in enumerate(([1], [2], [1, 3], [], [1])):
        data = _press(outputs=outputs, enrolling=place == 4)
        commit = Commit(events=(EventDraft(EventName.TRANSMITTER_HEARD, "slip-gate", data),))
        await real.journal.commit(commit)
        await bench.store.journal.commit(commit)
        await clock.advance(7 * 60)
    start = clock.now() - timedelta(minutes=21)
    for wanted in (
        EventFilter(),
        EventFilter(frozenset({EventName.TRANSMITTER_HEARD}), frozenset({"slip-gate"})),
        EventFilter(frozenset({EventName.LINK_LOST})),
        EventFilter(since=start),
        EventFilter(until=start),
        EventFilter(frozenset({EventName.TRANSMITTER_HEARD}), since=start, until=clock.now()),
    ):
        for numbers in ((), (1,), (2, 3)):
            assert await real.journal.tally(wanted, numbers) == await bench.store.journal.tally(wanted, numbers)
        for newest_first in (True, False):
            ids = [
                [event.id.number for event in await journal.read(0, wanted=wanted, newest_first=newest_first)]
                for journal in (real.journal, bench.store.journal)
            ]
            assert ids[0] == ids[1]
    assert sum((await real.journal.tally(EventFilter(), (1,))).values()) == 2
    local = datetime(2026, 10, 25, 1, 30, tzinfo=ZoneInfo("Europe/London"), fold=1)
    assert local.astimezone(UTC).hour == 1
