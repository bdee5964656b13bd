"""What is wrong with a line or a receiver on it, as a person meets it: clear message, right exit code, nothing done.

Each fault is met by `check` without a daemon, then by a running daemon through `status`, `roster apply` and `check`.
The receiver is compared before and after by pymodbus: revision and CRC-32 of every block (docs/register-map.md).
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path

import pytest

from tests.integration.yard import Yard, berths, memory_sums, open_yard, set_link_password, until

PASSWORD = "pontoon7"
_HOLDER = (
    "import fcntl, sys; port = open(sys.argv[1], 'rb', buffering=0); fcntl.flock(port, fcntl.LOCK_EX);"
    "print('held', flush=True); sys.stdin.read()"
)


@contextmanager
def held(port: Path) -> Iterator[int]:
    """Another program holds the port, as flock(2) has it; its process id."""
    with subprocess.Popen(
        [sys.executable, "-c", _HOLDER, str(port)], stdin=subprocess.PIPE, stdout=subprocess.PIPE
    ) as holder:
        assert holder.stdout is not None
        assert holder.stdout.readline() == b"held\n"
        yield holder.pid
        holder.terminate()


@pytest.fixture
def yard() -> Iterator[Yard]:
    with open_yard() as yard:
        yard.write_roster(*berths(3))
        yield yard


def _meet(yard: Yard, link: str, code: int, words: tuple[str, ...]) -> None:
    """The fault, met in every way; all say the same and end with the same code."""
    standing = yard.check()
    daemon = yard.start()
    row = daemon.wait_link("slip-gate", link)
    status, apply, running = yard.run_all(["status"], ["roster", "apply"], ["check", "--config", yard.config, "--json"])
    for done in (standing, status, apply, running):
        assert done.code == code, done.said
        for word in words:
            assert word in " ".join(done.said.split()), done.said
    assert "WRONG: " in standing.out
    assert row["problem"].partition(" (")[0] in status.out  # how often it was asked changes meanwhile
    assert row["remedy"] in apply.err
    assert "slip-gate" in apply.err
    wrong = [finding for finding in running.json if not finding["ok"]]
    assert [(finding["part"], finding["unreachable"]) for finding in wrong] == [("slip-gate", code == 3)]
    daemon.stop()


def test_a_missing_port(yard: Yard) -> None:
    """Exit 3; the port is named, and where stable names of adapters are."""
    line = yard.line("quayside")
    before = memory_sums(line.port)
    yard.write_settings(port=yard.folder / "nowhere")
    _meet(yard, "port-lost", 3, (f"There is no port {yard.folder / 'nowhere'}", "quayside", "/dev/serial/by-id"))
    assert memory_sums(line.port) == before


def test_a_port_in_use(yard: Yard) -> None:
    """Exit 3; the process that holds it is named; once it is free the daemon goes on by itself."""
    line = yard.line("quayside")
    before = memory_sums(line.port)
    yard.write_settings()
    with ExitStack() as holding:
        pid = holding.enter_context(held(line.port))
        _meet(yard, "port-busy", 3, (f"held by python (process {pid})", "Stop that program"))
        yard.daemon.start()
        yard.daemon.wait_link("slip-gate", "port-busy")
        holding.close()
        yard.daemon.wait_link("slip-gate", "online")
        yard.daemon.stop()
    assert memory_sums(line.port) == before


@pytest.mark.parametrize("fault", ["speed", "address"])
def test_a_wrong_speed_or_address(yard: Yard, fault: str) -> None:
    """Exit 3: nothing answers, and both are named among what to check. A paced line loses bytes of another speed."""
    line = yard.line("quayside", "--paced")
    before = memory_sums(line.port)
    if fault == "speed":
        yard.write_settings(baud=9600)
    else:
        yard.write_settings(receiver="address = 9")
    _meet(yard, "silent", 3, ("did not answer", "its address", "baud rate"))
    assert memory_sums(line.port) == before
    counters = line.shown("counters")
    assert counters["slot_writes"] == 0


def test_a_missing_link_password(yard: Yard) -> None:
    """Exit 1, for it answers and refuses; what to write into the settings is said; its status is seen all the same."""
    line = yard.line("quayside")
    set_link_password(line.port, PASSWORD)
    before = memory_sums(line.port, password=PASSWORD)
    yard.write_settings()
    _meet(yard, "password-refused", 1, ("has a link password and none is set here", "link_password_file"))
    yard.daemon.start()
    yard.daemon.wait_link("slip-gate", "password-refused")
    assert yard.daemon.get("/receivers/slip-gate/status")["current"] is True
    yard.daemon.stop()
    assert memory_sums(line.port, password=PASSWORD) == before


def test_a_wrong_link_password_and_its_correction(yard: Yard) -> None:
    """Exit 1; when the file is put right the running daemon goes on, without a restart."""
    line = yard.line("quayside")
    set_link_password(line.port, PASSWORD)
    before = memory_sums(line.port, password=PASSWORD)
    secret = yard.folder / "slip-gate.password"
    secret.write_text("shingle\n")
    secret.chmod(0o600)
    yard.write_settings(receiver=f'link_password_file = "{secret}"')
    _meet(yard, "password-refused", 1, ("refused the link password", "link_password_file", "a reset at the board"))
    yard.daemon.start()
    yard.daemon.wait_link("slip-gate", "password-refused")
    secret.write_text(PASSWORD + "\n")
    yard.daemon.wait_link("slip-gate", "online")
    yard.daemon.wait_mirrored("slip-gate")
    yard.daemon.stop()
    assert memory_sums(line.port, password=PASSWORD) == before


def test_one_dead_receiver_hides_no_other(yard: Yard) -> None:
    """`roster apply` brings the living one up, names the dead one, and ends with 3; JSON has both."""
    line = yard.line("quayside")
    yard.write_settings(more='\n[receivers.car-park]\nline = "quayside"\naddress = 2\noutputs = { 1 = "barrier" }\n')
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    preview, applied = yard.run("roster", "preview", "--json"), yard.run("roster", "apply")
    assert (preview.code, applied.code) == (3, 3)
    states = {row["receiver"]: row["state"] for row in preview.json}
    assert states == {"slip-gate": "preview", "car-park": "failed"}
    failed = next(row for row in preview.json if row["state"] == "failed")
    assert failed["problem"]["code"] == "no-answer"
    assert "slip-gate: 3 added" in applied.out
    assert "car-park: Receiver 2 did not answer" in applied.err
    assert sorted(line.rights()) == ["0048200001", "0048200002", "0048200003"]
    known = yard.run("roster", "apply", "--receiver", "slip-gate")
    assert known.code == 0


def test_a_foreign_receiver_is_not_written_to(yard: Yard) -> None:
    """Another receiver on the same port: exit 1, what to do is said, and it stays as it was."""
    line = yard.line("quayside", "--serial", "FQ-1")
    yard.write_settings()
    yard.write_roster(*berths(2))
    daemon = yard.start()
    daemon.wait_mirrored("slip-gate")
    assert yard.run("roster", "apply").code == 0
    line.stop()
    other = yard.line("quayside", "--serial", "FQ-2")
    daemon.wait_link("slip-gate", "wrong-receiver")
    before = other.memory()
    status, applied = yard.run_all(["status"], ["roster", "apply"])
    assert (status.code, applied.code) == (1, 1)
    assert "Another receiver answers" in status.out
    assert "nothing is written to it" in status.out + applied.err
    until(lambda: daemon.receiver("slip-gate")["identity"]["serial"] == "FQ-2", "the new serial")
    assert other.memory() == before
