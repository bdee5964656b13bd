"""The gateway under a service manager: what it says of itself, how it ends when a part of it does, and a full disk.

Rules: sd_notify(3) and RELIABILITY's R13; fault case 12 at the very first start.
"""

from __future__ import annotations

import asyncio
import os
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from gateway.clock import SystemClock
from gateway.daemon import running
from gateway.settings import load_settings

#: A site without a line: everything else runs all the same.
SETTINGS = """
[gateway]
site = "fennel-quay"
clock = "trusted"
state = "{folder}/state"

[api]
listen = "127.0.0.1:0"
socket = "{folder}/api.sock"

[receivers.boat-shed]
kind = "manual"
outputs = {{ 1 = "shutter" }}
slots = 60
"""
#: Every task of a gateway with these settings; a new one belongs here, so that its end is tried too.
WORKERS = (
    "watch", "conditions", "outlets", "operating", "visits", "plans", "restores", "visit sheets", "revocations",
    "drift", "dates", "enrolments", "overrides", "roster takes over", "clock", "retention", "audit", "outages", "pulse",
    "first roster", "snapshots",
)  # fmt: skip


@pytest.fixture
def folder() -> Iterator[Path]:
    """A socket's path has 107 characters at most."""
    with tempfile.TemporaryDirectory(prefix="fq-") as found:
        Path(found, "gatepost.toml").write_text(SETTINGS.format(folder=found))
        yield Path(found)


def run_command(folder: Path) -> list[str]:
    return [sys.executable, "-m", "gateway", "run", "--config", str(folder / "gatepost.toml")]


@contextmanager
def supervised(folder: Path, **more: str) -> Iterator[tuple[subprocess.Popen[bytes], socket.socket]]:
    """A daemon, and the socket to which it says how it is."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as manager:
        manager.bind(str(folder / "notify"))
        manager.settimeout(40)
        environment = {"NOTIFY_SOCKET": str(folder / "notify"), "PATH": "/usr/bin:/bin", **more}
        daemon = subprocess.Popen(run_command(folder), env=environment, stderr=subprocess.DEVNULL)
        try:
            yield daemon, manager
        finally:
            daemon.kill()
            daemon.wait()


def test_ready_alive_and_stopping(folder: Path) -> None:
    """Ready once the API answers, then signs of life in time for a limit of 1.6 s, then stopping."""
    with supervised(folder, WATCHDOG_USEC="1600000") as (daemon, manager):
        assert b"READY=1" in manager.recv(1000)
        assert (folder / "api.sock").is_socket()
        signs = [manager.recv(1000) for _ in range(4)]
        assert [sign.split(b"\n")[0] for sign in signs] == [b"WATCHDOG=1"] * 4
        daemon.send_signal(signal.SIGTERM)
        while b"STOPPING=1" not in (said := manager.recv(1000)):
            assert said == b"WATCHDOG=1"
        assert daemon.wait(20) == 0


async def test_these_are_all_workers(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The next test tries the end of each."""
    seen = await _run_with(folder, monkeypatch, "")
    assert set(seen) == set(WORKERS)


@pytest.mark.parametrize("name", WORKERS)
async def test_a_worker_that_fails_ends_all(folder: Path, monkeypatch: pytest.MonkeyPatch, name: str) -> None:
    """Never silently: the process ends with the worker's own error, and the API is closed."""
    with pytest.raises(BaseExceptionGroup) as caught:
        await _run_with(folder, monkeypatch, name)
    assert caught.group_contains(ZeroDivisionError, match=name)
    assert not (folder / "api.sock").exists()


async def test_after_a_failure_the_next_start_is_an_ordinary_one(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is left that is in its way."""
    with pytest.raises(BaseExceptionGroup):
        await _run_with(folder, monkeypatch, "watch")
    assert await _run_with(folder, monkeypatch, "")


async def _run_with(folder: Path, monkeypatch: pytest.MonkeyPatch, failing: str) -> list[str]:
    """Run until a worker that was made to fail ends it; without one, to an orderly end. The workers' names."""
    stop, seen = asyncio.Event(), list[str]()
    work = running._Gateway._work

    async def fail() -> None:
        await asyncio.sleep(0)
        raise ZeroDivisionError(failing)

    def with_one_failing(gateway: running._Gateway) -> dict[str, object]:
        found = dict(work(gateway))
        seen.extend(found)
        if failing:
            found.pop(failing).close()
            found[failing] = fail()
        else:
            stop.set()
        return dict(found)

    with monkeypatch.context() as patch:
        patch.setattr(running._Gateway, "_work", with_one_failing)
        async with asyncio.timeout(30):
            await running.run_gateway(load_settings(folder / "gatepost.toml"), clock=SystemClock(), stop=stop)
    return seen


_FULL_FROM_THE_FIRST = """
mount -t tmpfs -o size=2m none "$0"
dd if=/dev/zero of="$0/ballast" bs=4k 2>/dev/null
mkdir "$0/state"
"$@"; echo "first=$?"
rm "$0/ballast"
"$@" & daemon=$!
for turn in $(seq 300); do test -S "$0/api.sock" && break; sleep 0.1; done
kill -TERM $daemon; wait $daemon; echo "second=$?"
test -s "$0/state/ledger" && echo kept
"""


def test_a_disk_that_is_full_at_the_first_start(folder: Path) -> None:
    """It says so and ends, for the service manager to try again; with room it begins as if nothing had been."""
    there = Path(tempfile.mkdtemp(dir=folder))
    settings = folder / "elsewhere.toml"
    settings.write_text(SETTINGS.format(folder=there))
    command = [sys.executable, "-m", "gateway", "run", "--config", str(settings)]
    done = subprocess.run(
        ["unshare", "-rm", "sh", "-c", _FULL_FROM_THE_FIRST, str(there), *command],
        capture_output=True, text=True, check=False, timeout=55,
    )  # fmt: skip
    if "first=" not in done.stdout:
        assert os.environ.get("GATEPOST_REQUIRE_PEERS") != "1", done.stderr
        pytest.skip("no name space with a file system of its own can be made here")
    assert "first=1" in done.stdout, done.stderr
    assert "the disk is full" in done.stderr
    assert "Free some disk space" in done.stderr
    assert "Traceback" not in done.stderr
    assert "gateway.ready" in done.stdout + done.stderr
    assert "second=0" in done.stdout
    assert "kept" in done.stdout
