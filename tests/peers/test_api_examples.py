"""The examples of docs/api.md, run as they stand: by bash and curl, against a gateway that watches a receiver.

What an example leaves to the reader is filled in: the address, a token, ids in capitals, an ETag that ends in dots, an
event's id. Every command must be answered as a success; those that say no on this site are named below.
"""

from __future__ import annotations

import re
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass

import pytest

from tests.fakes.doc_examples import fenced
from tests.integration.yard import Yard, open_yard, until
from tests.peers.conftest import RequireProgram

_CURL = """
set -u
api={address}/api/v1; auth="Authorization: Bearer $TOKEN"; json='Content-Type: application/json'
sudo() {{ "$@"; }}
uuidgen() {{ cat /proc/sys/kernel/random/uuid; }}
curl() {{ command curl -sS --max-time {patience} -w '%{{stderr}}HTTP=%{{http_code}}\\n' "$@"; }}
"""
_MORE = """
[gates.slip-gate]
title = "Slip gate"
receiver = "slip-gate"
outputs = ["gate"]

[receivers.boat-shed]
kind = "manual"
outputs = { 1 = "shutter" }
slots = 60
"""
#: What this site answers with something else than success, by a part of the command, and why.
_OTHERWISE = {
    "/plans/PLAN/": {409: "no plan waits here"},
    "/approvals": {404: "the restore has not begun yet", 409: "the restore is being written"},
    "/drift/0048231907/decision": {404: "nothing was changed by other hands"},
    "/roster/first-rosters": {409: "there is a roster already"},
    "/lines/7/tick": {404: "its sheet has no seven lines"},
    "/forgettings": {409: "the person is still on the roster", 404: "nobody of that name was ever here"},
    "/outputs/1/operations": {409: "the settings don't allow it"},
}  # fmt: skip


@dataclass(frozen=True)
class Site:
    """A gateway that keeps its own roster, a token for everything, and a folder with the files that examples name."""

    yard: Yard
    token: str

    def run(self, command: str) -> tuple[int, str]:
        """The HTTP status of the last request of a command, and all that was said."""
        endless = "curl -N" in command
        script = _CURL.format(address=self.yard.daemon.address, patience=2 if endless else 30) + self._fill(command)
        done = subprocess.run(
            ["bash", "-c", script], cwd=self.yard.folder, env={"TOKEN": self.token, "PATH": "/usr/bin:/bin"},
            capture_output=True, text=True, check=False, timeout=60,
        )  # fmt: skip
        assert done.returncode in ((0, 28) if endless else (0,)), (command, done.stderr)
        statuses = re.findall(r"HTTP=(\d+)", done.stderr)
        assert statuses, (command, done.stdout, done.stderr)
        return int(statuses[-1]), done.stdout + done.stderr

    def _fill(self, command: str) -> str:
        daemon = self.yard.daemon
        command = command.replace("http://127.0.0.1:8470", daemon.address)
        command = command.replace("/run/gatepost/api.sock", str(daemon.socket))
        command = re.sub(r"\bk3v9-\d+", f"{daemon.get('/gateway')['journal']['epoch']}-1", command)
        if re.search(r"\bID\b", command):
            mine = daemon.get("/receivers/slip-gate/snapshots")["snapshots"]
            command = re.sub(r"\bID\b", mine[0]["id"], command)
        if re.search(r"\d{8}-slip-gate", command):
            receipts = until(lambda: daemon.get("/receipts")["receipts"], "a receipt of the plan that was applied")
            command = re.sub(r"\d{8}-slip-gate", receipts[0]["id"], command)
        if "PLAN" in command:
            command = command.replace("PLAN", daemon.get("/plans")["plans"][0]["id"])
        if (found := re.search(r'"\$api(/[^"]*)"', command)) and "..." in command:
            path = found[1] + ("/roster.csv" if found[1] == "/roster/files" else "")
            command = re.sub(r'"\w+\.\.\."', daemon.client.get(path).headers.get("ETag", '"none"'), command)
        return command


@pytest.fixture(scope="module")
def site() -> Iterator[Site]:
    """The boatyard of the documentation."""
    with open_yard() as yard:
        yard.line("quayside")
        yard.roster.write_text(
            "serial,holder,kind,group\n0048231907,Berth 12,two-button,berth-holders\n"
            "0048231911,Harbour office,two-button,hoist-crew\n"
        )
        yard.write_settings(roster='source = "local"', more=_MORE)
        daemon = yard.start()
        daemon.wait_mirrored("slip-gate")
        for name in ("roster", "groups"):
            assert (yard.folder / f"{name}.{'csv' if name == 'roster' else 'toml'}").exists()
        files = {"roster": yard.roster.read_bytes(), "groups": yard.groups.read_bytes()}
        kept = daemon.client.put("/roster/files", files=files)
        assert kept.status_code == 200, kept.text
        yield Site(yard, daemon.post("/tokens", {"name": "examples", "scopes": ["admin"]}).json()["secret"])


def _commands() -> list[str]:
    """Every command that asks something, on one line."""
    text = "\n".join(fenced("api.md", "sh")).replace("\\\n", " ")
    return [line for line in text.splitlines() if "curl" in line]


def test_every_example_is_answered(site: Site, require_program: RequireProgram) -> None:
    """In the order of the page, for some build on those before."""
    require_program("curl", "curl")
    commands = _commands()
    assert len(commands) > 40
    wrong = []
    for command in commands:
        status, said = site.run(command)
        expected = next((known for part, known in _OTHERWISE.items() if part in command), {})
        if not (200 <= status < 300 or status in expected):
            wrong.append(f"{status} for {command}\n{said[-600:]}")
    assert not wrong, "\n\n".join(wrong)
