"""Wrong input at a real site: a clear sentence with what to do, the right exit code, and nothing changed."""

from __future__ import annotations

import fcntl
import json
import os
from collections.abc import Iterator
from importlib import resources
from pathlib import Path

import pytest

from tests.integration.yard import Yard, berths, gatepost, open_yard, set_link_password, until

VECTORS = Path(__file__).parents[1] / "vectors" / "rosters"


@pytest.fixture
def yard() -> Iterator[Yard]:
    """A yard with settings and a good roster; nothing runs yet."""
    with open_yard() as found:
        found.write_settings()
        found.write_roster(*berths(3))
        yield found


def test_a_good_site_is_found_good(yard: Yard) -> None:
    """`check` without a daemon opens the port itself, finds all well and writes nothing."""
    line = yard.line("quayside", "--paced")
    before = line.memory()
    done = yard.check()
    assert done.code == 0, done.said
    assert "slip-gate answers" in done.out
    assert "WRONG" not in done.out
    assert line.memory() == before


def test_wrong_port(yard: Yard) -> None:
    """A port that isn't there: cannot reach, and which setting to mend."""
    done = yard.check()
    assert done.code == 3, done.said
    assert "There is no port" in done.out
    assert "/dev/serial/by-id" in done.out


def test_port_in_use(yard: Yard) -> None:
    """A port that another program holds: who holds it, and that it is tried again."""
    line = yard.line("quayside")
    before = line.memory()
    held = os.open(line.port, os.O_RDWR | os.O_NOCTTY)
    try:
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
        done = yard.check()
    finally:
        os.close(held)
    assert done.code == 3, done.said
    assert "is held by" in done.out
    assert "Stop that program" in done.out
    assert line.memory() == before


@pytest.mark.parametrize(
    ("settings", "said"),
    [({"baud": 9600}, "baud rate"), ({"receiver": "address = 9"}, "address")],
    ids=["wrong baud", "wrong address"],
)
def test_silence_names_its_likely_causes(yard: Yard, settings: dict[str, str], said: str) -> None:
    """A wrong baud rate or address is heard as silence; the sentence names both among what to check."""
    line = yard.line("quayside", "--paced")
    before = line.memory()
    yard.write_settings(**settings)  # type: ignore[arg-type]
    done = yard.check()
    assert done.code == 3, done.said
    assert "did not answer" in done.out
    assert said in done.out
    assert line.memory() == before


@pytest.mark.parametrize("given", [None, "wrongone"])
def test_missing_and_wrong_password(yard: Yard, given: str | None) -> None:
    """Without the right link password status works and memory doesn't; the sentence says which file to mend."""
    line = yard.line("quayside")
    set_link_password(line.port, "tide1234")
    if given:
        secret = yard.folder / "secret"
        secret.write_text(given)
        secret.chmod(0o600)
        yard.write_settings(receiver=f'link_password_file = "{secret}"')
    before = line.memory()
    done = yard.check()
    assert done.code == 1, done.said
    assert "slip-gate answers" in done.out
    assert "password" in done.out
    assert line.memory() == before


def test_map_with_an_overlapping_field(yard: Yard) -> None:
    """A map whose fields overlap is wrong settings: block and fields are named."""
    text = resources.files("gateway.maps").joinpath("reference.toml").read_text("utf-8")
    (yard.folder / "own.toml").write_text(text.replace("boot_count = { at = 1,", "boot_count = { at = 2,"))
    yard.write_settings(receiver=f'map = "{yard.folder}/own.toml"')
    for command in ("check", "run"):
        done = yard.run(command, "--config", yard.config)
        assert done.code == 2, done.said
        assert "overlaps field" in done.err
        assert "Mend the map file" in done.err


def test_settings_with_an_unknown_key(yard: Yard) -> None:
    """A misspelt key stops the start with its line and the key that was meant."""
    yard.write_settings(receiver="polls_per_seconds = 3")
    for command in ("check", "run"):
        done = yard.run(command, "--config", yard.config)
        assert done.code == 2, done.said
        assert "did you mean polls_per_second?" in done.err
        assert "line " in done.err
    assert not (yard.folder / "state").exists()


def test_roster_with_twenty_faults() -> None:
    """All faults in one pass, each with row, column, what was found and what to write; exit code 1, no daemon."""
    done = gatepost(
        "roster", "check", VECTORS / "twenty_faults.csv", "--groups", VECTORS / "twenty_faults.toml", "--json"
    )
    assert done.code == 1, done.said
    assert done.json["ok"] is False
    assert len(done.json["faults"]) >= 20
    for fault in done.json["faults"]:
        assert fault["found"]
        assert fault["remedy"]
        assert isinstance(fault["row"], int)


def test_a_full_receiver(yard: Yard) -> None:
    """1025 transmitters for 1024 slots: refused before anything is written, with how many are too many."""
    line = yard.line("quayside")
    yard.write_roster(*berths(1025))
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    before = line.memory()
    for command in ("preview", "apply"):
        done = yard.run("roster", command)
        assert done.code == 1, done.said
        assert "1 " in done.err
        assert "slots" in done.err
    assert line.memory() == before


def test_a_faulty_roster_changes_nothing(yard: Yard) -> None:
    """With a daemon: a roster with faults is refused whole, the last good one stays in force, the memory stays."""
    line = yard.line("quayside")
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    assert yard.run("roster", "apply").code == 0
    before = line.memory()
    yard.write_roster("48200001,Berth 1,two-button,berth-holders", "not a serial,Berth 2,two-button,no-such-group")
    done = yard.run("roster", "apply")
    assert done.code == 1, done.said
    assert "row 3" in done.said
    assert line.memory() == before
    assert daemon.get("/roster")["transmitters"] == 3


def test_two_daemons_on_one_state_folder(yard: Yard) -> None:
    """The second one ends with exit code 1 and says who holds the folder."""
    yard.line("quayside")
    daemon = yard.start()
    done = yard.run("run", "--config", yard.config)
    assert done.code == 1, done.said
    assert str(daemon.process.pid) in done.err


def test_no_daemon_and_no_right(yard: Yard) -> None:
    """A silent address is exit code 3; a wrong token and a missing scope are 1, each with what to do."""
    done = yard.run("status")
    assert done.code == 3, done.said
    assert "No gateway answers" in done.err
    yard.line("quayside")
    yard.write_settings(listen="127.0.0.1:0")
    daemon = yard.start()
    made = yard.run("token", "add", "desk", "--scope", "view", "--json")
    assert made.code == 0, made.said
    secret = yard.folder / "token"
    secret.write_text(made.json["secret"])
    port = until(lambda: _port_of(daemon.log), "the port in the log")
    url = f"http://127.0.0.1:{port}"
    good = gatepost("status", "--url", url, "--token-file", secret, "--json")
    assert "receivers" in good.json
    scope = gatepost("revoke", "0048200001", "--reason", "lost", "--url", url, "--token-file", secret)
    assert scope.code == 1, scope.said
    secret.write_text("gp_wrong")
    wrong = gatepost("status", "--url", url, "--token-file", secret)
    assert wrong.code == 1, wrong.said


def _port_of(log: Path) -> int:
    for line in log.read_text().splitlines():
        if '"gateway.ready"' in line:
            return int(json.loads(line)["ports"][0])
    return 0
