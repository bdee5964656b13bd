"""Somebody leaves and is forgotten, by commands against a running daemon; then no file of its state names them.

Nothing here knows how the state is kept: every file is searched, byte by byte, also for the name as JSON escapes it.
"""

from __future__ import annotations

import json
from collections.abc import Iterator

import pytest

from tests.integration.yard import Done, Yard, open_yard, until

NAME, SERIAL = "Zoë Quay", "0048231907"
HERS = f"{SERIAL},{NAME},two-button,berth-holders"
OTHER = "0048231911,Harbour office,two-button,berth-holders"


@pytest.fixture
def yard() -> Iterator[Yard]:
    with open_yard() as yard:
        yard.line("quayside")
        yield yard


def naming(yard: Yard) -> list[str]:
    """Files of the state folder that have the name in them."""
    wanted = (NAME.encode(), json.dumps(NAME)[1:-1].encode(), NAME.encode("cp1252"))
    files = [path for path in sorted((yard.folder / "state").rglob("*")) if path.is_file()]
    return [path.name for path in files if any(each in path.read_bytes() for each in wanted)]


def went(yard: Yard, *arguments: str) -> Done:
    """A command that must do what it is asked."""
    done = yard.run(*arguments)
    assert done.code == 0, done.said
    return done


def test_who_has_left_is_forgotten(yard: Yard) -> None:
    """Refused while she is on the roster, and while a receiver still holds her transmitter."""
    yard.write_settings()
    yard.write_roster(HERS, OTHER)
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    went(yard, "roster", "apply")
    line = yard.lines["quayside"]
    assert line.tell(f"press {SERIAL} 1")
    went(yard, "snapshot", "take", "slip-gate")
    assert len(naming(yard)) >= 3
    refused = yard.run("people", "forget", NAME, "--yes")
    assert (refused.code, "still lists" in refused.said) == (1, True)

    yard.write_roster(OTHER)
    daemon.post("/roster/fetches")
    refused = yard.run("people", "forget", NAME, "--yes")
    assert (refused.code, "still holds" in refused.said) == (1, True)

    went(yard, "revoke", SERIAL, "--reason", f"{NAME} has left")
    went(yard, "roster", "apply")
    asked = [
        yard.run("people", "forget", *who) for who in (("Nobody",), ("Nobody", "--yes"), (NAME,), ("Harbour office",))
    ]
    assert [each.code for each in asked] == [1, 1, 1, 1]
    expected = ("Nothing is known here of", "Nothing is known here of", "nobody was asked", "still lists")
    assert [words in each.said for words, each in zip(expected, asked, strict=True)] == [True] * 4
    assert naming(yard) != []
    done = went(yard, "people", "forget", NAME, "--yes", "--json").json
    assert (done["serials"], done["revoked"]) == ([SERIAL], [SERIAL])
    assert done["presses"] >= 1
    assert done["snapshots"] >= 1
    assert naming(yard) == []

    assert daemon.get("/revocations")["revocations"][0]["serial"] == SERIAL
    story = went(yard, "roster", "history", "--serial", SERIAL).said
    assert NAME not in story
    assert SERIAL in story
    assert went(yard, "people", "show", "Harbour office").said
    daemon.stop()
    assert naming(yard) == []
    yard.start()
    assert naming(yard) == []
    assert yard.run("people", "list", "Harbour").said


def test_what_is_kept_is_told_with_this_site_s_numbers(yard: Yard) -> None:
    """Beside the audit's seal, which is the one that the chain ends with and the one that was sent out."""
    yard.write_settings()
    yard.config.write_text(yard.config.read_text().replace("[gateway]", "[gateway]\nkeep_heard_days = 31", 1))
    daemon = yard.start()
    went(yard, "token", "add", "desk", "--scope", "view")
    paper = went(yard, "report", "retention", "--json").json
    kept = {row["what"]: (row["kept"], row["setting"]) for row in paper["rows"]}
    assert kept["presses"] == ("31 days", "gateway.keep_heard_days")
    assert kept["the audit"] == ("730 days", "gateway.keep_audit_days")
    assert paper["audit"]["hash"] == daemon.get("/audit/verification")["head"]
    assert paper["audit"]["hash"] in went(yard, "report", "retention").said
    daemon.stop()
    yard.start()
    until(lambda: any(event["type"].endswith("audit.sealed") for event in daemon.events()), "the seal in the journal")
    (sealed,) = [event["data"] for event in daemon.events() if event["type"].endswith("audit.sealed")]
    assert sealed == paper["audit"]
