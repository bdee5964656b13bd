"""How much memory the daemon takes: four receivers with every slot used, a long journal, many listeners.

    python -m tests.benchmarks.resident_bench [--slots 1024] [--rows 100000] [--streams 20] [--seconds 30]

Two lines with two virtual receivers each; the daemon is a process of its own, begun as a service manager would. What is
told is what the kernel says of it (`VmRSS`, `VmHWM`, proc(5)) after its start, with its streams open and after reading
through people, slots and events. For goal R8 of docs/reliability.md: 96 MiB.
"""

from __future__ import annotations

import argparse
import asyncio
import re
import socket
import subprocess
import sys
import time
from contextlib import ExitStack
from pathlib import Path

import httpx

from tests.benchmarks.lasting_bench import fill
from tests.integration.yard import HEADER, Yard, open_yard, until

LINES = ("quayside", "sheds")
NAMES = tuple(f"{line}-{address}" for line in LINES for address in (1, 2))


def _settings(yard: Yard) -> str:
    text = (
        f'[gateway]\nsite = "fennel-quay"\nclock = "trusted"\nstate = "{yard.folder / "state"}"\n'
        f'[api]\nlisten = "127.0.0.1:0"\nsocket = "{yard.socket}"\n'
        f'[roster]\nsource = "{yard.roster}"\ngroups = "{yard.groups}"\n'
    )
    for line in LINES:
        text += f'[lines.{line}]\nport = "{yard.folder / line}"\nbaud = 115200\n'
        for address in (1, 2):
            text += f'[receivers.{line}-{address}]\nline = "{line}"\naddress = {address}\noutputs = {{ 1 = "gate" }}\n'
    return text


def _kilobytes(pid: int, what: str) -> int:
    found = re.search(rf"^{what}:\s+(\d+) kB$", Path(f"/proc/{pid}/status").read_text(), re.MULTILINE)
    assert found
    return int(found[1])


def _tell(pid: int, when: str) -> None:
    print(f"{when}: {_kilobytes(pid, 'VmRSS') / 1024:.1f} MiB, at most {_kilobytes(pid, 'VmHWM') / 1024:.1f} MiB")


def _everything(client: httpx.Client, path: str) -> None:
    """Every page of a list."""
    cursor = None
    while True:
        page = (
            client.get(path, params={"limit": 100, **({"cursor": cursor} if cursor else {})}).raise_for_status().json()
        )
        cursor = page.get("next")
        if not cursor:
            return


def _listen(yard: Yard, stack: ExitStack) -> None:
    """A stream that reads nothing but what the kernel holds for it."""
    door = stack.enter_context(socket.socket(socket.AF_UNIX))
    door.connect(str(yard.socket))
    door.sendall(b"GET /api/v1/events/stream HTTP/1.1\r\nHost: localhost\r\n\r\n")
    assert b" 200 " in door.recv(200)


def _begin(yard: Yard, slots: int, rows: int) -> None:
    """Four full memories and a long journal, by a daemon that then ends."""
    for line in LINES:
        yard.line(line, "--baud", "115200", "--address", "1", "--address", "2")
    yard.config.write_text(_settings(yard))
    yard.groups.write_text("[groups.all]\n" + "".join(f'{name} = {{ 1 = ["gate"] }}\n' for name in NAMES))
    yard.roster.write_text(HEADER + "".join(f"{48_200_001 + n:010d},Berth {n},two-button,all\n" for n in range(slots)))
    daemon = yard.start()
    daemon.wait_mirrored(*NAMES)
    done = yard.run("roster", "apply")
    assert done.code == 0, done.said
    daemon.stop()
    asyncio.run(fill(yard.folder / "state", rows))


def run(slots: int, rows: int, streams: int, seconds: float) -> None:
    with open_yard() as yard, ExitStack() as stack:
        _begin(yard, slots, rows)
        command = [sys.executable, "-m", "gateway", "run", "--config", str(yard.config)]
        process = stack.enter_context(subprocess.Popen(command, stderr=subprocess.DEVNULL))
        stack.callback(process.terminate)
        client = stack.enter_context(
            httpx.Client(
                transport=httpx.HTTPTransport(uds=str(yard.socket)), base_url="http://localhost/api/v1", timeout=60
            )
        )
        until(lambda: yard.socket.exists() and _mirrored(client), "four mirrors")
        _tell(process.pid, "started, four mirrors proven")
        for _ in range(streams):
            _listen(yard, stack)
        time.sleep(seconds)
        _tell(process.pid, f"with {streams} streams, after {seconds:.0f} s of polls")
        for path in ("/people", *(f"/receivers/{name}/slots" for name in NAMES), "/events"):
            _everything(client, path)
        _tell(process.pid, "after reading through people, slots and events")


def _mirrored(client: httpx.Client) -> bool | None:
    try:
        found = client.get("/receivers").raise_for_status().json()["receivers"]
    except httpx.HTTPError:
        return None
    return all(receiver["mirror_revision"] is not None for receiver in found) or None


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--slots", type=int, default=1024)
    parser.add_argument("--rows", type=int, default=100_000)
    parser.add_argument("--streams", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=30.0)
    arguments = parser.parse_args()
    run(arguments.slots, arguments.rows, arguments.streams, arguments.seconds)


if __name__ == "__main__":
    main()
