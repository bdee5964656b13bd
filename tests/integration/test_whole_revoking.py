"""Revoking by holder and by group on a whole site: seen first, then one revocation each, proven in the memory."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.integration.yard import Yard, open_yard, until

BERTH_A, BERTH_B = "0048200001", "0048200002"
CREW_A, CREW_B = "0048200003", "0048200004"


@pytest.fixture(scope="module")
def yard() -> Iterator[Yard]:
    """Berth 1 has two transmitters, the hoist crew two members. Every test puts back what it revoked."""
    with open_yard() as found:
        found.write_settings()
        found.write_roster(
            f"{BERTH_A},Berth 1,two-button,berth-holders",
            f"{BERTH_B},Berth 1,two-button,berth-holders",
            f"{CREW_A},Crew one,two-button,hoist-crew",
            f"{CREW_B},Crew two,two-button,hoist-crew",
        )
        found.line("quayside")
        found.start().wait_mirrored("slip-gate")
        assert found.run("roster", "apply").code == 0
        yield found


def test_a_holder_is_revoked_proven_and_lifted(yard: Yard) -> None:
    """Both transmitters, with one reason; the roster gives nothing back until each is lifted."""
    line = yard.lines["quayside"]
    preview = yard.run("revoke", "--holder", "berth 1", "--preview")
    assert preview.code == 0, preview.said
    assert BERTH_A in preview.out
    assert BERTH_B in preview.out
    assert "held by slip-gate" in preview.out
    assert "nothing was changed" in preview.out
    unasked = yard.run("revoke", "--holder", "Berth 1", "--reason", "left the yard")
    assert unasked.code == 1
    assert "--yes" in unasked.err
    assert set(line.rights()) == {BERTH_A, BERTH_B, CREW_A, CREW_B}

    done = yard.run("revoke", "--holder", "Berth 1", "--reason", "left the yard", "--yes")
    assert done.code == 0, done.said
    assert done.out.count("gone, proven by reading the memory") == 2
    assert set(line.rights()) == {CREW_A, CREW_B}
    listed = yard.daemon.get("/revocations")["revocations"]
    assert {(each["serial"], each["reason"], each["proven"]) for each in listed} == {
        (BERTH_A, "left the yard", True),
        (BERTH_B, "left the yard", True),
    }
    assert yard.run("roster", "apply").code == 0
    assert set(line.rights()) == {CREW_A, CREW_B}

    lifted = yard.run("revoke", "--holder", "Berth 1", "--lift", "--reason", "came back", "--yes", "--json")
    assert lifted.code == 0, lifted.said
    assert set(lifted.json["lifted"]) == {BERTH_A, BERTH_B}
    assert yard.run("roster", "apply").code == 0
    assert set(line.rights()) == {BERTH_A, BERTH_B, CREW_A, CREW_B}
    nothing = yard.run("revoke", "--holder", "Berth 1", "--lift", "--reason", "again", "--yes")
    assert nothing.code == 1
    assert "is revoked" in nothing.err


def test_a_group_is_revoked_and_survives_a_restart(yard: Yard) -> None:
    """Everybody in it, whatever becomes of the daemon; those outside are not touched."""
    done = yard.run("revoke", "--group", "HOIST-CREW", "--reason", "hoist sold", "--yes", "--json")
    assert done.code == 0, done.said
    assert {each["serial"] for each in done.json["revocations"]} == {CREW_A, CREW_B}
    assert set(yard.lines["quayside"].rights()) == {BERTH_A, BERTH_B}
    yard.daemon.kill()
    yard.daemon.start()
    yard.daemon.wait_mirrored("slip-gate")
    assert len(yard.daemon.get("/revocations")["revocations"]) == 2
    assert yard.run("roster", "apply").code == 0
    assert set(yard.lines["quayside"].rights()) == {BERTH_A, BERTH_B}
    put_back(yard, CREW_A, CREW_B)


def test_where_nobody_answers_it_is_pending_and_says_what_is_in_the_way(yard: Yard) -> None:
    """Not waited for; taken out when the receiver is back, with a receipt. Who asked first stays on record."""
    line = yard.lines["quayside"]
    assert line.tell("fault adapter gone") == "ok"
    yard.daemon.wait_link("slip-gate", "port-lost")
    done = yard.run("revoke", CREW_A, "--reason", "lost in the marina")
    assert done.code == 1
    assert "slip-gate: pending; taken out as soon as that is possible\n    The adapter " in done.out
    assert line.tell("fault adapter back") == "ok"
    until(lambda: yard.daemon.get(f"/revocations/{CREW_A}")["proven"], "a proof once it is back")
    assert CREW_A not in line.rights()
    again = yard.run("revoke", CREW_A, "--reason", "asked by the office")
    assert (again.code, "It was before, since" in again.out, ": lost in the marina" in again.out) == (0, True, True)
    assert "proven by reading the memory (receipt " in again.out
    put_back(yard, CREW_A)


def test_somebody_who_left_the_roster_is_still_found_in_a_memory(yard: Yard) -> None:
    """Held by a receiver under that name, though no row lists it: found, said, and taken out."""
    rows = yard.roster.read_text()
    yard.write_roster(f"{CREW_A},Crew one,two-button,hoist-crew", f"{CREW_B},Crew two,two-button,hoist-crew")
    assert yard.daemon.post("/roster/fetches").status_code == 200
    preview = yard.run("revoke", "--holder", "Berth 1", "--preview")
    assert "no longer in the roster" in preview.out
    assert yard.run("revoke", "--holder", "Berth 1", "--reason", "left", "--yes").code == 0
    assert set(yard.lines["quayside"].rights()) == {CREW_A, CREW_B}
    yard.roster.write_text(rows)
    put_back(yard, BERTH_A, BERTH_B)


def put_back(yard: Yard, *serials: str) -> None:
    for serial in serials:
        gone = yard.daemon.client.delete(f"/revocations/{serial}", params={"reason": "put back"})
        assert gone.status_code == 204
    assert yard.run("roster", "apply").code == 0
    assert set(yard.lines["quayside"].rights()) == {BERTH_A, BERTH_B, CREW_A, CREW_B}


def test_what_is_not_known_or_not_meant(yard: Yard) -> None:
    """Names that nobody has, and a selection that has changed meanwhile."""
    assert yard.run("revoke", "--holder", "Nobody", "--reason", "x", "--yes").code == 1
    group = yard.run("revoke", "--group", "nobody", "--reason", "x", "--yes")
    assert group.code == 1
    assert "berth-holders" in group.err
    body = {"holder": "Berth 1", "reason": "x", "serials": [BERTH_A]}
    changed = yard.daemon.post("/revocation-batches", body)
    assert (changed.status_code, changed.json()["type"].rpartition(":")[2]) == (409, "selection-changed")
    both = yard.daemon.post("/revocation-batches", {"holder": "Berth 1", "group": "hoist-crew", "reason": "x"})
    assert both.status_code == 422
    assert yard.daemon.get("/revocations")["revocations"] == []
