"""Bad files, doors and words, as a person meets them: message, exit code, and a receiver that stays as it was.

The receiver's own word (`show` on its control socket: revision and slots) is compared before and after.
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.integration.yard import Yard, berths, gatepost, open_yard

ROOT = Path(__file__).parents[2]
VECTORS = ROOT / "tests" / "vectors" / "rosters"


@pytest.fixture(scope="module")
def running() -> Iterator[Yard]:
    """A yard whose daemon runs and has an accepted roster of three; nothing was applied."""
    with open_yard() as yard:
        yard.line("quayside")
        yard.write_settings()
        yard.write_roster(*berths(3))
        yard.start().wait_mirrored("slip-gate")
        yield yard


@pytest.fixture
def untouched(running: Yard) -> Iterator[Yard]:
    """The same, with its good roster back afterwards, and the receiver proven to be as it was."""
    assert running.daemon.post("/roster/fetches").json()["problem"] == ""
    before = running.lines["quayside"].memory()
    yield running
    running.write_roster(*berths(3))
    assert running.daemon.post("/roster/fetches").json()["problem"] == ""
    assert running.lines["quayside"].memory() == before


# --- without a daemon ---


def test_no_daemon_runs(tmp_path: Path) -> None:
    """Exit 3; the socket is named, and both ways on."""
    done = gatepost("status", "--socket", tmp_path / "api.sock")
    assert done.code == 3
    assert f"No gateway answers at {tmp_path / 'api.sock'}" in done.err
    assert "systemctl status gatepost" in done.err
    assert "--url" in done.err
    elsewhere = gatepost("follow", "--url", "http://127.0.0.1:9")
    assert elsewhere.code == 3
    assert "No gateway answers at http://127.0.0.1:9" in elsewhere.err


def test_something_else_answers_at_the_address() -> None:
    """A web server that is no gateway: exit 1 or 3 and a sentence, never a trace."""
    code = "import http.server as h; s = h.HTTPServer(('127.0.0.1', 0), h.SimpleHTTPRequestHandler); " \
        "print(s.server_port, flush=True); s.serve_forever()"  # fmt: skip
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as server:
        assert server.stdout is not None
        port = int(server.stdout.readline())
        done = gatepost("status", "--url", f"http://127.0.0.1:{port}")
        server.terminate()
    assert done.code == 3
    assert "no gateway" in done.err.lower()


@pytest.mark.parametrize("command", ["run", "check"])
def test_an_unknown_key_in_the_settings(tmp_path: Path, command: str) -> None:
    """Exit 2 before anything is opened: file, line, key, and the key that was probably meant."""
    path = tmp_path / "gatepost.toml"
    path.write_text(
        '[gateway]\nsite = "fennel-quay"\n[lines.quayside]\nport = "/dev/null"\nbuad = 9600\n'
        '[receivers.slip-gate]\nline = "quayside"\n'
    )
    done = gatepost(command, "--config", path)
    assert done.code == 2
    assert f"{path} has one fault" in done.err
    assert "line 5, lines.quayside.buad: unknown key; did you mean baud?" in done.err


@pytest.mark.parametrize("command", ["run", "check"])
def test_a_map_with_an_overlapping_field(tmp_path: Path, command: str) -> None:
    """Exit 2: map file, block and both fields. The virtual receiver refuses it in the same words."""
    bad = _map_with(tmp_path, "uptime_s = { at = 3", "uptime_s = { at = 2")
    with open_yard() as yard:
        yard.write_settings(receiver=f'map = "{bad}"')
        done = yard.run(command, "--config", yard.config)
    assert done.code == 2
    words = f"The map {bad} has one fault: block “status”: field uptime_s overlaps field boot_count"
    assert words in done.err
    if command == "run":
        virtual = gatepost("virtual-receiver", "--link", tmp_path / "port", "--map", bad)
        assert virtual.code == 2
        assert words in virtual.err
        assert not (tmp_path / "port").is_symlink()


def _map_with(folder: Path, old: str, new: str) -> Path:
    text = (ROOT / "gateway" / "maps" / "reference.toml").read_text()
    assert old in text
    path = folder / "bench.toml"
    path.write_text(text.replace(old, new))
    return path


def test_a_secret_that_others_can_read_or_that_is_missing() -> None:
    """Exit 2, with the command that puts it right."""
    with open_yard() as yard:
        secret = yard.folder / "slip-gate.password"
        yard.write_settings(receiver=f'link_password_file = "{secret}"')
        missing = yard.check()
        secret.write_text("pontoon7\n")
        secret.chmod(0o644)
        open_ = yard.run("run", "--config", yard.config)
    assert (missing.code, open_.code) == (2, 2)
    assert f"The secret file {secret} is missing" in missing.err
    assert f"chmod 600 {secret}" in open_.err
    assert "pontoon7" not in missing.said + open_.said


# --- doors ---


def test_two_daemons_on_one_state_folder(untouched: Yard) -> None:
    """The second says who is there already, exits 1, and the first goes on."""
    done = untouched.run("run", "--config", untouched.config)
    assert done.code == 1
    assert f"Process {untouched.daemon.process.pid} already works with the state folder" in done.err
    assert "systemctl stop gatepost" in done.err
    assert untouched.run("status").code == 0


def test_the_apis_port_is_in_use(untouched: Yard) -> None:
    """Exit 1 and the address; the socket that the first daemon has is refused the same way."""
    taken = untouched.daemon.address.removeprefix("http://")
    other = untouched.folder / "other.toml"
    text = untouched.config.read_text().replace(str(untouched.folder / "state"), str(untouched.folder / "state2"))
    other.write_text(text.replace("127.0.0.1:0", taken).replace("api.sock", "other.sock"))
    done = untouched.run("run", "--config", other)
    other.write_text(text)
    same_socket = untouched.run("run", "--config", other)
    assert (done.code, same_socket.code) == (1, 1)
    assert f"Another program listens on {taken}." in done.err
    assert f"Another program listens on {untouched.socket}." in same_socket.err
    assert untouched.run("status").code == 0


@pytest.mark.skipif(os.getuid() != 0, reason="needs root, to be somebody else for one command")
def test_a_socket_of_somebody_else(untouched: Yard) -> None:
    """Exit 3 and what to do, for `status` and for `check`, which must not go and open the port instead."""
    untouched.folder.chmod(0o755)
    environment = {"GATEPOST_SOCKET": str(untouched.socket), "PATH": "/usr/bin:/bin", "HOME": "/"}
    for arguments in (["status"], ["check", "--config", str(untouched.config)]):
        code = f"import os, sys; os.setgid(65534); os.setuid(65534); sys.argv = ['gatepost', *{arguments!r}]; main()"
        done = subprocess.run(
            [sys.executable, "-c", f"from gateway.cli import main; import gateway.cli.checking; {code}"],
            capture_output=True, text=True, check=False, env=environment, cwd=ROOT,
        )  # fmt: skip
        assert done.returncode == 3, done.stderr
        assert "may not be opened by this user" in done.stderr
        assert "sudo" in done.stderr


def test_tokens_that_are_missing_wrong_or_too_weak(untouched: Yard) -> None:
    """Exit 1 each; what is needed is said; a view token sees no more than it may and changes nothing."""
    url = ["--url", untouched.daemon.address]
    made = untouched.run("token", "add", "desk", "--scope", "view", "--json").json
    token = untouched.folder / "token"
    token.write_text(made["secret"] + "\n")
    good = [*url, "--token-file", str(token)]
    missing, wrong, weak, weak_admin, fine = [
        untouched.run("status", *url),
        untouched.run("status", *url, GATEPOST_TOKEN="gp_nobody"),
        untouched.run("roster", "apply", *good),
        untouched.run("settings", "set", "slip-gate", "--on-time", "1=9", *good),
        untouched.run("status", *good),
    ]
    assert [done.code for done in (missing, wrong, weak, weak_admin, fine)] == [1, 1, 1, 1, 0]
    assert "This needs an access token." in missing.err
    assert "--token-file" in missing.err
    assert "not known here" in wrong.err
    assert "scope roster" in weak.err
    assert "scope admin" in weak_admin.err
    unread = untouched.run("status", *url, "--token-file", "/nowhere/token")
    assert unread.code == 2
    assert "/nowhere/token can't be read" in unread.err
    assert untouched.run("token", "remove", made["id"]).code == 0
    assert untouched.run("status", *good).code == 1


# --- words ---


def test_names_and_numbers_that_do_not_exist(untouched: Yard) -> None:
    """An unknown receiver, output, token, serial: what there is instead."""
    expected: list[tuple[list[str], int, str]] = [
        (["roster", "preview", "--receiver", "slipgate"], 1, "The settings name: slip-gate."),
        (["settings", "show", "slipgate"], 1, "The settings name: slip-gate."),
        (["settings", "set", "slip-gate", "--on-time", "9=5"], 1, "Its outputs are numbered from 1 to 4."),
        (["settings", "set", "slip-gate", "--on-time", "1=9999"], 1, "This receiver takes 1 to 3600 s."),
        (["settings", "set", "slip-gate", "--on-time", "gate"], 2, "write OUTPUT=SECONDS"),
        (["settings", "set", "slip-gate"], 2, "nothing to change; give --on-time"),
        (["token", "remove", "t0"], 1, "`gatepost token list` shows the ids"),
        (["revoke", "48O", "--reason", "lost"], 1, "Write up to ten decimal digits"),
        (["revoke", "0", "--reason", "lost"], 1, "0000000001 to 4294967295"),
        (["revoke", "77", "--reason", "found", "--lift"], 1, "Transmitter 0000000077 is not revoked."),
        (["follow", "--after", "yesterday"], 2, "is no event's id; write one such as"),
        (["roster", "check", str(VECTORS / "good.csv"), "--time-zone", "Mars/One"], 2, "write one like Europe/Berlin"),
        (["roster", "check", "/nowhere.csv"], 2, "There is no file /nowhere.csv."),
        (["roster", "check", str(VECTORS / "good.csv"), "--groups", "/nowhere.toml"], 2, "no file /nowhere.toml."),
        (["roster", "check", str(VECTORS)], 2, "is a folder."),
        (["roster", "check", str(VECTORS / "good.csv"), "--encoding", "cp9999"], 2, "Write a name such as cp1252"),
        (["people", "add", "77", "Barge crew"], 2, "give one of --group, --right and --like"),
        (["people", "add", "77", "B", "--group", "crew", "--like", "9"], 2, "and --like, not 2"),
        (["open-sesame"], 2, "No such command"),
    ]
    found = untouched.run_all(*(arguments for arguments, *_ in expected))
    for done, (arguments, code, words) in zip(found, expected, strict=True):
        assert done.code == code, (arguments, done.said)
        assert words in done.err, arguments
        assert done.out == "", arguments
        lines = done.err.strip().splitlines()
        assert len(lines) == len(set(lines)), f"something is said twice: {done.err}"


# --- rosters ---


def test_a_roster_with_twenty_faults(untouched: Yard) -> None:
    """Every fault by row and column; preview, apply, status and check say so and exit 1; JSON stays JSON."""
    path, groups = VECTORS / "twenty_faults.csv", VECTORS / "twenty_faults.toml"
    checked = untouched.run("roster", "check", path, "--groups", groups, "--json")
    assert checked.code == 1
    assert checked.json["ok"] is False
    assert len(checked.json["faults"]) >= 20
    shutil.copy(path, untouched.roster)
    applied, preview = untouched.run("roster", "apply"), untouched.run("roster", "preview", "--json")
    status, check = untouched.run_all(["status"], ["check", "--config", untouched.config])
    assert [done.code for done in (applied, preview, status, check)] == [1, 1, 1, 1]
    for row in (3, 10, 17, 28):
        assert f", row {row}, " in applied.err
    assert 'row 3, serial: a serial rounded by the spreadsheet: "4.82E+07"; format the column as text' in applied.err
    assert preview.out == ""
    assert "The roster in force has 3 transmitters" in status.out
    assert "the last good roster stays in force" in status.out
    assert "WRONG: The roster has" in check.out


def test_a_full_receiver(untouched: Yard) -> None:
    """1025 transmitters on 1024 slots: refused whole, with what to do."""
    untouched.write_roster(*berths(1025))
    preview, applied = untouched.run("roster", "preview"), untouched.run("roster", "apply")
    for done in (preview, applied):
        assert done.code == 1
        assert "slip-gate is full: it has 1024 slots, and the roster wants 1 transmitter too many." in done.err
        assert "Take 1 transmitter off this receiver" in done.err


def test_no_roster_file(untouched: Yard) -> None:
    """Exit 3 with the path; the last good roster stays in force; an empty file and a cut one are refused with 1."""
    untouched.roster.unlink()
    gone = untouched.run("roster", "apply")
    checked = untouched.run("check", "--config", untouched.config, "--json")
    assert (gone.code, checked.code) == (3, 3)
    assert f"There is no file {untouched.roster}." in gone.err
    assert [finding["part"] for finding in checked.json if not finding["ok"]] == ["roster"]
    untouched.write_roster()
    empty = untouched.run("roster", "apply")
    untouched.roster.write_text("serial,holder,kind,group\n0048200001,Berth 1,two-button,berth-holders\n00482")
    cut = untouched.run("roster", "apply")
    assert (empty.code, cut.code) == (1, 1)
    assert "a header and no rows; nothing was changed" in empty.err
    assert "row 3" in cut.err
    assert untouched.daemon.get("/roster")["transmitters"] is not None


def test_settings_put_right_and_wrong_while_the_daemon_runs(untouched: Yard) -> None:
    """`check` reads what a restart will read: a key that is wrong by now is found though the daemon runs."""
    good = untouched.config.read_text()
    untouched.config.write_text(good.replace("spread_s", "spred_s"))
    wrong = untouched.check()
    untouched.config.write_text(good.replace("outputs =", 'map = "slipway"\noutputs ='))
    map_ = untouched.check()
    untouched.config.write_text(good)
    assert (wrong.code, map_.code) == (2, 2)
    assert "did you mean spread_s?" in wrong.err
    assert "slipway" in map_.err
    assert untouched.check().code == 0


def test_a_socket_path_is_no_daemon(tmp_path: Path) -> None:
    """A socket that nobody listens on any more is as good as none."""
    path = tmp_path / "api.sock"
    with socket.socket(socket.AF_UNIX) as stale:
        stale.bind(str(path))
    assert gatepost("status", "--socket", path).code == 3
