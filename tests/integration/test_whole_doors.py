"""The doors of a running gateway, looked at from outside the process: what listens, what was there from the start."""

from __future__ import annotations

import json
import os
import sqlite3
import stat
from pathlib import Path

import httpx

from tests.integration.yard import Daemon, open_yard

_LISTEN = "0A"  # proc(5): /proc/net/tcp, column st


def _listening(pid: int) -> set[str]:
    """Local addresses of the process's listening TCP sockets, IPv4 and IPv6, as /proc/net writes them."""
    own = {os.readlink(path) for path in Path(f"/proc/{pid}/fd").iterdir() if path.exists() or path.is_symlink()}
    found = set()
    for table in ("tcp", "tcp6"):
        for row in Path(f"/proc/{pid}/net/{table}").read_text().splitlines()[1:]:
            fields = row.split()
            if fields[3] == _LISTEN and f"socket:[{fields[9]}]" in own:
                found.add(fields[1])
    return found


def _break_audit(folder: Path) -> int:
    """What somebody who may write the file would do; the number of the row."""
    with sqlite3.connect(folder / "state" / "gatepost.db") as db:
        number = int(db.execute("select min(number) from audit where what = 'token.added'").fetchone()[0])
        db.execute("update audit set who = 'local:4711' where number = ?", (number,))
    db.close()
    return number


def _audit(daemon: Daemon) -> dict[str, object]:
    found: dict[str, object] = daemon.get("/audit/verification")
    return found


def test_doors_of_a_new_gateway_and_of_one_that_was_tampered_with() -> None:
    """ETSI EN 303 645, 5.1 and 5.6: no token from the start, one network listener on loopback, the socket for owner and
    group; and an audit that tells when a row was changed behind its back."""
    with open_yard() as yard:
        yard.write_settings()
        daemon = yard.start()
        assert daemon.get("/tokens")["tokens"] == []
        for path in ("/api/v1/gateway", "/api/v1/openapi.json", "/metrics", "/api/v1/tokens"):
            answer = httpx.get(f"{daemon.address}{path}")
            assert (answer.status_code, answer.json()["type"]) == (401, "urn:gatepost:problem:token-missing")
        port = int(daemon.address.rpartition(":")[2])
        assert _listening(daemon.process.pid) == {f"0100007F:{port:04X}"}
        assert stat.S_IMODE(yard.socket.stat().st_mode) == 0o660

        for name in ("first", "second"):
            made = daemon.post("/tokens", {"name": name, "scopes": ["view"]})
            assert made.status_code == 201
        whole = _audit(daemon)
        assert (whole["whole"], whole["broken"]) == (True, None)
        assert daemon.stop() == 0
        number = _break_audit(yard.folder)
        daemon.start()
        broken = _audit(daemon)
        assert (broken["whole"], broken["broken"]) == (False, number), json.dumps(broken)
