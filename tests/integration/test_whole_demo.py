"""The demo, as README's first command runs it: it plays to its end, or to Ctrl-C, and leaves nothing behind."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.integration.yard import gatepost, until

#: As at a terminal (env(1)): what a shell starts in the background, such as these tests, is to ignore Ctrl-C.
_HEED = ("env", "--default-signal=INT")


def _free_address() -> str:
    with socket.create_server(("127.0.0.1", 0)) as door:
        return f"127.0.0.1:{door.getsockname()[1]}"


def _children(pid: int) -> set[int]:
    """Processes below this one, from /proc (proc(5))."""
    found: set[int] = set()
    for task in Path(f"/proc/{pid}/task").glob("*/children"):
        for child in map(int, task.read_text().split()):
            found |= {child} | _children(child)
    return found


def _runs(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False


@pytest.fixture
def folder() -> Iterator[Path]:
    """One with a short name, for a socket's path has 107 characters at most."""
    with tempfile.TemporaryDirectory(prefix="fq-") as found:
        yield Path(found)


@contextmanager
def _demo(folder: Path, *arguments: str) -> Iterator[tuple[subprocess.Popen[bytes], Path]]:
    """The demo as a process with its output in a file and its own folder for temporary files."""
    output = folder / "output"
    environment = {**os.environ, "TMPDIR": str(folder), "PYTHONUNBUFFERED": "1", "COLUMNS": "160"}
    with output.open("wb") as file:
        process = subprocess.Popen(
            [*_HEED, sys.executable, "-m", "gateway", "demo", *arguments],
            stdin=subprocess.DEVNULL,
            stdout=file,
            stderr=file,
            env=environment,
            start_new_session=True,
        )
    try:
        yield process, output
    finally:
        if process.poll() is None:
            process.terminate()
        process.wait(20)


def test_it_plays_to_its_end(folder: Path) -> None:
    """Exit 0; a token that works while it runs; a revocation proven; a summary; no folder and no process left."""
    address = _free_address()
    with _demo(folder, "--for", "12", "--listen", address) as (process, output):
        until(lambda: "the token for this run is" in output.read_text(), "a token", 60)
        token = until(lambda: re.search(r"^  (gp_\S+)$", output.read_text(), re.M), "the token itself")[1]
        seen = gatepost("status", "--url", f"http://{address}", GATEPOST_TOKEN=token)
        children = _children(process.pid)
        assert len(children) == 3
        assert process.wait(90) == 0, output.read_text()
        words = output.read_text()
    assert seen.code in (0, 3), seen.said
    assert "slip-gate" in seen.out
    for sentence in (
        f"http://{address}/#sign-in={token}",
        f"The API is at http://{address}/api/v1",
        "What the roster would change (nothing is written yet):",
        "written and proven",
        "It still works:",
        "Gone from every receiver after",
        "one transmitter revoked and proven gone.",
        "Gatepost is no safety device and replaces none",
    ):
        assert sentence in words
    assert "Traceback" not in words
    assert not any(map(_runs, children))
    assert [path.name for path in folder.iterdir()] == ["output"]


def test_an_address_in_use(folder: Path) -> None:
    """Exit 1 at once, the address named, and what to write; nothing left behind."""
    with socket.create_server(("127.0.0.1", 0)) as door:
        address = f"127.0.0.1:{door.getsockname()[1]}"
        done = gatepost("demo", "--for", "5", "--listen", address, TMPDIR=str(folder))
    assert done.code == 1
    assert f"Another program listens on {address}." in done.err
    assert "--listen 127.0.0.1:PORT" in done.err
    assert "{" not in done.err
    assert list(folder.iterdir()) == []


@pytest.mark.parametrize(
    ("moment", "number"),
    [
        ("Fennel Quay", signal.SIGINT),
        ("Bringing the receivers", signal.SIGINT),
        ("Bringing the receivers", signal.SIGTERM),
    ],
)
def test_a_signal_ends_all_of_it(folder: Path, moment: str, number: signal.Signals) -> None:
    """While it starts, or in the middle of a sync: exit 0, a sentence, its processes and its folder gone."""
    with _demo(folder, "--listen", _free_address()) as (process, output):
        until(lambda: moment in output.read_text() or process.poll() is not None, moment, 60)
        assert process.poll() is None, output.read_text()
        children = _children(process.pid)
        process.send_signal(number)
        assert process.wait(60) == 0, output.read_text()
        words = output.read_text()
    assert "The yard is closed." in words
    assert "Traceback" not in words
    assert not any(map(_runs, children))
    assert [path.name for path in folder.iterdir()] == ["output"]


def test_an_address_that_is_none(folder: Path) -> None:
    """Exit 2 and how one is written."""
    done = gatepost("demo", "--listen", "8470", TMPDIR=str(folder))
    assert done.code == 2
    assert "HOST:PORT" in done.err
