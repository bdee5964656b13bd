"""Looking back at a running site: plans with their words, refusal, a past day, one transmitter's story, the audit."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from tests.integration.yard import Yard, berths, open_yard, until


@pytest.fixture
def yard() -> Iterator[Yard]:
    with open_yard() as yard:
        yard.line("quayside")
        gate = '\n[gates.slip-gate]\ntitle = "Slip gate"\nreceiver = "slip-gate"\noutputs = ["gate"]\n'
        yard.write_settings(more=gate)
        yard.write_roster(*berths(10))
        yield yard


def this_day() -> str:
    """The day that it is at the site."""
    return datetime.now(UTC).astimezone(ZoneInfo("Europe/London")).date().isoformat()


def today(yard: Yard, **narrowed: str) -> Any:
    """The access of this day."""
    return yard.daemon.get("/roster/history", on=this_day(), limit=500, **narrowed)


def access(day: Any, basis: str = "memory") -> dict[str, bool]:
    """By serial: whether it is still there."""
    return {row["serial"]: row["last"] is None for row in day["access"] if row["basis"] == basis}


def bring(yard: Yard, *rows: str) -> Any:
    """A new roster, fetched and brought to the receiver; the plan as it ended."""
    yard.write_roster(*rows)
    daemon = yard.daemon
    assert daemon.post("/roster/fetches").status_code == 200
    plan = daemon.post("/plans", {"receiver": "slip-gate"}).json()["id"]
    going = ("pending", "applying")
    return until(lambda: p if (p := daemon.get(f"/plans/{plan}"))["state"] not in going else None, "the plan's end")


def story(yard: Yard, serial: str) -> list[str]:
    """One transmitter's story, by the API."""
    return [chapter["words"] for chapter in yard.daemon.get("/roster/history", serial=serial)["story"]["chapters"]]


def test_from_the_roster_to_the_story(yard: Yard) -> None:
    """Three rosters, a refusal, a hand at the board, a revocation, a restart: all of it is found again, and audited."""
    line = yard.lines["quayside"]
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    assert bring(yard, *berths(10))["state"] == "applied"
    assert bring(yard, *berths(9), "0048200010,Berth 10,two-button,hoist-crew")["state"] == "applied"

    held = bring(yard, *berths(5))
    assert (held["state"], held["gaining"], held["losing"]) == ("held", 0, 5)
    shown, refused = yard.run_all(
        ["plan", "show", held["id"]], ["plan", "refuse", held["id"], "--reason", "they stay until October"]
    )
    assert "0048200010, is removed (not in the roster)" in shown.out
    assert "; 5 lose something; " in shown.out
    assert refused.code == 0, refused.said
    assert len(line.rights()) == 10
    assert daemon.post(f"/plans/{held['id']}/application").status_code == 409

    assert line.tell("@1 board unlearn 1") == "waiting"
    line.tell("@1 press 0048200002 1")
    until(lambda: not access(today(yard))["0048200002"], "what was done at the board in the record")
    assert daemon.post("/revocations", {"serial": "0048200001", "reason": "lost"}).status_code == 202
    proven = "is proven gone, as revoked, receipt "
    until(lambda: any(words.startswith(proven) for words in story(yard, "0048200001")), "the revocation in the record")

    daemon.kill()
    daemon.start()
    daemon.wait_mirrored("slip-gate")
    day = today(yard, gate="slip-gate")
    still = access(day)
    assert {serial for serial, there in still.items() if there} == {f"00482000{n:02d}" for n in range(3, 11)}
    assert all(right["outputs"] == ["gate"] for row in day["access"] for right in row["rights"])
    (receiver,) = day["receivers"]
    assert receiver["recorded"]
    assert any(gap["why"] == "the gateway was off" for gap in receiver["gaps"])
    hoist = today(yard, receiver="slip-gate")
    assert [row for row in hoist["access"] if any("boat-hoist" in right["outputs"] for right in row["rights"])]
    assert "is gone from slot 2 (done at the board)" in story(yard, "0048200002")

    words, said = yard.run_all(
        ["roster", "history", "--serial", "48200010"],
        ["roster", "history", "--on", this_day(), "--receiver", "slip-gate"],
    )
    assert words.code == 0, words.said
    for part in (
        "is put on the roster as Berth 10 (two-button, group berth-holders, at slip-gate position 1 works gate)",
        "slip-gate: is in slot 10: position 1 works gate (written by the gateway)",
        "its group on the roster is hoist-crew; before: berth-holders",
        "has other rights in slot 10: position 1 works gate; position 2 works boat-hoist; before:",
        "is no longer on the roster",
        f"refused ({held['id']}, roster): slot 10: ",
        "The roster in force does not have it.",
        "slip-gate holds it in slot 10, proven.",
    ):
        assert part in words.out, words.out
    assert said.code == 0, said.said
    assert "Read in the receiver's memory:" in said.out
    assert "transmitter 0048200003: position 1 works gate; from " in said.out
    assert "Last proven equal to the roster: receipt 0000000" in said.out

    page = daemon.get("/roster/revisions", limit=2)
    revisions = page["revisions"] + daemon.get("/roster/revisions", cursor=page["next"])["revisions"]
    assert [(r["added"], r["changed"], r["removed"]) for r in revisions] == [(0, 0, 5), (0, 1, 0), (10, 0, 0)]
    rows = [row for row in daemon.get("/audit", limit=500)["rows"] if row["what"] == "history.read"]
    assert any(row["detail"].get("serial") == "0048200010" for row in rows)
    assert any(row["detail"].get("gate") == "slip-gate" for row in rows)


def test_whom_the_history_is_for_and_what_is_refused(yard: Yard) -> None:
    """The scope `roster`; a day to come, a day and a serial at once, and names that there aren't."""
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    secret = daemon.post("/tokens", {"name": "desk", "scopes": ["view"]}).json()["secret"]
    desk = {"Authorization": f"Bearer {secret}"}
    for path in ("/roster/history", "/roster/revisions"):
        assert daemon.client.get(path, params={"on": "2026-01-01"}, headers=desk).status_code == 403
    for query, status in (
        ({"on": "2999-01-01"}, 409),
        ({}, 422),
        ({"on": "2026-01-01", "serial": "0048200001"}, 422),
        ({"on": "yesterday"}, 422),
        ({"serial": "0000000000"}, 422),
        ({"on": "2026-01-01", "gate": "boathouse"}, 404),
        ({"on": "2026-01-01", "cursor": "x"}, 400),
    ):
        assert daemon.client.get("/roster/history", params=query).status_code == status, query
    before = daemon.get("/roster/history", on="2026-01-01")
    assert [receiver["recorded"] for receiver in before["receivers"]] == [False]
    assert daemon.get("/roster/history", on="2026-01-01")["access"] == []
    said, no_date, no_day = yard.run_all(
        ["roster", "history", "--on", "2026-01-01"],
        ["roster", "history", "--on", "1 January"],
        ["roster", "history", "--gate", "slip-gate"],
    )
    assert "Nothing is recorded of what it held on this day" in said.out
    assert (no_date.code, no_day.code) == (2, 2)
