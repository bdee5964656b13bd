"""A site already in use, taken over without a change on any receiver; its people edited here; moved to a central file.

By commands and API against a running daemon; the receiver's own counter says that nothing was written.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.integration.yard import Daemon, Done, VirtualLine, Yard, berths, open_yard, until

LOCAL = 'source = "local"'
BARGE, CREW = "0048231907", "0000000077"
UNCHANGED = {"added": 0, "changed": 0, "removed": 0, "unchanged": 5}


@pytest.fixture
def yard() -> Iterator[Yard]:
    with open_yard() as yard:
        yard.line("quayside")
        yield yard


def teach(line: VirtualLine, *presses: tuple[str, int, int]) -> None:
    """Serial, position and output, at the board: no names."""
    for serial, position, output in presses:
        assert line.tell(f"board learn {output}") == "waiting"
        assert line.tell(f"press {serial} {position}") == "saved"
        line.tell(f"release {serial} {position}")


def writes(line: VirtualLine) -> int:
    return int(line.shown("counters")["slot_writes"])


def plan(daemon: Daemon, *, preview: bool) -> dict[str, Any]:
    """A plan of the newest roster, previewed, or as it ended."""
    daemon.post("/roster/fetches")
    made = daemon.post("/plans", {"receiver": "slip-gate", "preview": preview})
    assert made.status_code in (200, 202), made.text
    found: dict[str, Any] = made.json()
    while found["state"] in ("pending", "applying"):
        found = daemon.get(f"/plans/{found['id']}")
    return found


def counts(found: dict[str, Any]) -> dict[str, Any]:
    return {name: found[name] for name in UNCHANGED}


def begin_local(yard: Yard) -> Daemon:
    yard.write_settings(roster=LOCAL)
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    return daemon


def good(done: Done) -> str:
    assert done.code == 0, done.said
    return done.out


def card(daemon: Daemon, serial: str) -> dict[str, Any]:
    cards = daemon.get(f"/people/{serial}")["transmitters"]
    return next(each for each in cards if each["serial"] == serial)


def change(daemon: Daemon, path: str, body: object = None, method: str = "PATCH") -> list[str]:
    """An edit from what stands there; what it changed, in words."""
    tag = daemon.client.get(path).headers["ETag"]
    answer = daemon.client.request(method, path, json=body, headers={"If-Match": tag})
    assert answer.status_code == 200, answer.text
    assert answer.json()["in_force"]
    words: list[str] = answer.json()["words"]
    return words


def test_taking_over_and_editing(yard: Yard) -> None:
    """Three with names by an earlier gateway, two taught at the board: an empty plan; then every kind of edit."""
    line = yard.lines["quayside"]
    yard.write_settings()
    yard.write_roster(*berths(3))
    earlier = yard.start()
    earlier.wait_mirrored("slip-gate")
    assert plan(earlier, preview=False)["state"] == "applied"
    earlier.stop()
    shutil.rmtree(yard.folder / "state")
    teach(line, (BARGE, 1, 1), (BARGE, 2, 3), (CREW, 1, 1))
    before, written = line.memory(), writes(line)

    daemon = begin_local(yard)
    assert card(daemon, "0048200001")["standing"] == "unlisted"
    said = good(yard.run("roster", "from-receiver", "--keep"))
    assert "Found 5 transmitters of 5 holders, 1 group, 2 without a name." in said
    assert counts(plan(daemon, preview=True)) == UNCHANGED
    assert plan(daemon, preview=False)["state"] == "applied"
    assert (line.memory(), writes(line)) == (before, written)
    assert daemon.post("/roster/first-rosters", {"keep": True}).status_code == 409

    line.tell(f"press {CREW} 1")
    until(lambda: card(daemon, CREW)["last_heard"], "the press on the card")
    unnamed = good(yard.run("people", "list", "--unnamed")).splitlines()
    assert unnamed[0].startswith(f"{CREW}  Unnamed {CREW}")
    assert "Unnamed, last heard at slip-gate" in unnamed[0]
    renamed = good(yard.run("people", "rename", "77", "Barge crew"))
    assert "holder Unnamed 0000000077 → Barge crew" in renamed
    assert renamed.endswith("The receivers follow with: gatepost roster apply\n")  # no timetable is set
    assert "is now called 'Barge crew'" in plan(daemon, preview=True)["changes"][0]["words"]

    rights = {"slip-gate": {"1": ["gate"], "2": ["boat-hoist"]}}
    assert daemon.client.put("/roster/groups/hoist-crew", json={"rights": rights}).status_code == 200
    (moved,) = change(daemon, f"/people/{CREW}", {"group": "hoist-crew"})
    assert "→ hoist-crew" in moved
    added = yard.run("people", "add", "48231999", "Berth 14", "--like", "Berth 1", "--until", "2099-10-31")
    assert "Berth 14, transmitter 0048231999: added, 1:slip-gate/gate until 2099-10-31" in good(added)
    assert "kind any → four-button" in good(yard.run("people", "kind", "48231999", "four-button"))
    assert "sites all → fennel-quay" in good(yard.run("people", "sites", "48231999", "fennel-quay"))
    assert "sites fennel-quay → all" in good(yard.run("people", "sites", "48231999", "all"))
    change(daemon, "/people/0048200002", {"valid_until": "2099-12-24", "note": "spare kept in office"})
    assert change(daemon, "/people/0048200003", method="DELETE")[0].startswith(
        "Berth 3, transmitter 0048200003: removed"
    )
    assert card(daemon, "0048231999")["standing"] == "pending"
    assert plan(daemon, preview=False)["state"] == "applied"
    assert line.rights() == {
        "0048200001": {"1": [1]},
        "0048200002": {"1": [1]},
        "0048231999": {"1": [1]},
        BARGE: {"1": [1], "2": [3]},
        CREW: {"1": [1], "2": [2]},
    }
    assert card(daemon, "0048231999")["sentence"] == "Works as the roster says, until 31 October 2099, proven."
    one_new(yard)
    edits = daemon.get("/roster/edits")["edits"]
    assert [each["number"] for each in edits] == list(range(13, 0, -1))
    assert edits[-1]["how"] == "from-receiver"
    many = "".join(f"{n},Berth {n},1:slip-gate/gate\n" for n in range(100, 160))
    (yard.folder / "many.csv").write_text(f"serial,holder,rights\n{many}")
    seen = good(yard.run("people", "import", yard.folder / "many.csv"))
    assert "changes more; --json shows them" in seen
    told = good(yard.run("people", "history", "--limit", "1")).splitlines()
    assert (len(told), told[-1].endswith("changes more; --json shows them")) == (14, True)


def one_new(yard: Yard) -> None:
    """A file with nobody but somebody new: let in at once, and the removals told as held; approved in one command."""
    newest = yard.daemon.get("/roster/edits")["edits"][0]["number"]
    for serial, approve in ((1, ()), (2, ("--approve",))):
        (yard.folder / "one.csv").write_text(f"serial,holder,rights\n{serial},New,1:slip-gate/gate\n")
        good(yard.run("people", "import", yard.folder / "one.csv"))
        done = yard.run("roster", "apply", *approve)
        assert "slip-gate: 1 added, 0 changed, 0 removed, 5 unchanged" in done.out
        assert (done.code, "Held: It would remove 5 of the 6" in done.out) == ((0, False) if approve else (1, True))
        assert ("0 added, 0 changed, 5 removed, 1 unchanged" in done.out) is True
        if not approve:
            assert "Held: It would remove" not in good(yard.run("people", "restore", str(newest), "--apply"))


def refusals(yard: Yard, daemon: Daemon) -> None:
    """A stale start, a group in use, faults: each said in full, and nothing is kept."""
    known = len(daemon.get("/roster/edits")["edits"])
    path = f"/people/{BARGE}"
    tag = daemon.client.get(path).headers["ETag"]
    first = daemon.client.patch(path, json={"note": "first"}, headers={"If-Match": tag})
    assert first.status_code == 200, first.text
    late = daemon.client.patch(path, json={"note": "late"}, headers={"If-Match": tag})
    assert (late.status_code, daemon.client.patch(path, json={"note": "blind"}).status_code) == (412, 428)
    body = {"group": "nobody", "valid_from": "tomorrow", "kind": "nine-button"}
    bad = daemon.client.patch(path, json=body, headers={"If-Match": first.headers["ETag"]})
    assert bad.status_code == 422
    assert {each["parameter"] for each in bad.json()["errors"]} == {"group", "valid_from", "kind"}
    again = daemon.post("/people", {"serial": BARGE, "holder": "X", "rights": ["1:slip-gate/gate"]})
    assert again.json()["type"].endswith(":serial-known")
    group = daemon.get("/roster/groups")["groups"][0]["name"]
    headers = {"If-Match": daemon.client.get(f"/roster/groups/{group}").headers["ETag"]}
    assert daemon.client.delete(f"/roster/groups/{group}", headers=headers).json()["type"].endswith(":group-in-use")
    broken = yard.folder / "broken.csv"
    broken.write_text("serial,holder,rights\n1,A,1:slip-gate/none\n4.82E+07,B,1:slip-gate/gate\n")
    refused = yard.run("people", "import", broken)
    assert refused.code == 1
    assert ("row 2" in refused.err, "row 3" in refused.err) == (True, True)
    broken.write_bytes(b"serial,holder,rights\n" + b"1,A,1:slip-gate/gate\n" * 500_000)
    assert f"{broken} is larger than 10 MiB." in yard.run("people", "import", broken).err
    assert len(daemon.get("/roster/edits")["edits"]) == known + 1
    assert daemon.client.get(path).headers["ETag"] == first.headers["ETag"]


def test_it_outlives_the_database_and_moves_to_a_central_file(yard: Yard) -> None:
    """Killed, its database damaged: the same people. Exported, it is the central file without a slot written."""
    line = yard.lines["quayside"]
    teach(line, (BARGE, 1, 1), (CREW, 1, 1), ("1", 3, 4), ("2", 1, 1), ("3", 1, 1))
    daemon = begin_local(yard)
    assert daemon.post("/roster/first-rosters", {"keep": True}).json()["unnamed"] == 5
    change(daemon, f"/people/{BARGE}", {"holder": "Barge crew", "everywhere": True})
    assert plan(daemon, preview=False)["state"] == "applied"
    refusals(yard, daemon)
    written = writes(line)
    daemon.kill()
    database = yard.folder / "state" / "gatepost.db"
    for part in (database, Path(f"{database}-wal"), Path(f"{database}-shm")):
        part.unlink(missing_ok=True)
    database.write_bytes(b"not a database " * 400)
    daemon.start()
    daemon.wait_mirrored("slip-gate")
    assert card(daemon, BARGE)["holder"] == "Barge crew"
    assert counts(plan(daemon, preview=True)) == UNCHANGED

    out = yard.folder / "out"
    good(yard.run("people", "export", out))
    files = {name: out / name for name in ("roster.csv", "groups.toml")}
    done = yard.run("people", "import", files["roster.csv"], "--groups", files["groups.toml"], "--based-on", "3")
    assert "Nothing was to change" in good(done)
    for name, path in files.items():
        assert daemon.client.get(f"/roster/files/{name}").content == path.read_bytes()
    book = out / "roster.xlsx"
    assert f"to {book}." in good(yard.run("people", "export", out, "--as", "xlsx"))
    assert "Kept as revision" in good(yard.run("people", "rename", "2", "Berth 2"))
    assert "later edits" in yard.run("people", "import", book, "--based-on", "3").said
    assert "holder Berth 2 → Unnamed 0000000002" in good(yard.run("people", "import", book))
    assert good(yard.run("roster", "check", book)).startswith("Good: 5 transmitters")
    before = daemon.client.get("/roster/files/roster.csv").content
    assert "Kept as revision" in good(yard.run("people", "note", "3", "spare"))
    newest = daemon.get("/roster/edits")["edits"][0]["number"]
    seen = good(yard.run("people", "restore", str(newest - 1), "--preview"))
    assert ("note spare → none" in seen, seen.endswith("Nothing was kept: this was a look.\n")) == (True, True)
    assert f"Kept as revision {newest + 1}." in good(yard.run("people", "restore", str(newest - 1)))
    assert daemon.client.get("/roster/files/roster.csv").content == before
    assert yard.run("people", "restore", "999").code == 1
    daemon.stop()
    for roster in (f'source = "{files["roster.csv"]}"\ngroups = "{files["groups.toml"]}"', f'source = "{book}"'):
        yard.write_settings(roster=roster)
        daemon.start()
        daemon.wait_mirrored("slip-gate")
        assert counts(plan(daemon, preview=False)) == UNCHANGED
        assert writes(line) == written
        daemon.stop()
    daemon.start()
    daemon.wait_mirrored("slip-gate")
    said = yard.run("people", "add", "9", "X", "--right", "1:slip-gate/gate").said
    assert ("comes from" in said, 'set source = "local" in the settings, then import' in said) == (True, True)
    assert card(daemon, BARGE)["standing"] == "works"
