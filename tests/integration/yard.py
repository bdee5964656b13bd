"""A whole boatyard for tests: virtual receivers and the daemon as processes in one folder, and a user's commands.

Nothing here knows the inside of the program: processes run `python -m gateway`, the daemon is asked over
its socket, receivers are looked at through their own control sockets or by pymodbus with the page's addresses. What
takes time is waited for by a condition with a deadline. `gatepost` begins from nothing, as a shell does; a yard does so
for the first use of each command, and forks what follows from a process that is loaded (`warm.py`).
"""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import httpx
from pymodbus.client import ModbusSerialClient

from tests.fakes.register_page import Page
from tests.integration.warm import WarmProcess

__all__ = [
    "GROUPS",
    "HEADER",
    "Daemon",
    "Done",
    "VirtualLine",
    "Yard",
    "berths",
    "gatepost",
    "memory_sums",
    "open_yard",
    "set_link_password",
    "until",
]

DEADLINE_S = 60.0
HEADER = "serial,holder,kind,group\n"
GROUPS = """\
[groups.berth-holders]
slip-gate = { 1 = ["gate"] }

[groups.hoist-crew]
slip-gate = { 1 = ["gate"], 2 = ["boat-hoist"] }
"""
_PAGE = Page.read()
_T = TypeVar("_T")


def until(found: Callable[[], _T | None], what: str, deadline_s: float = DEADLINE_S) -> _T:
    """Ask again and again until something true is found; AssertionError naming `what` when it never is."""
    end = time.monotonic() + deadline_s
    rest_s = 0.01  # what asks without a rest takes from the one that is asked
    while True:
        value = found()
        if value:
            return value
        assert time.monotonic() < end, f"in {deadline_s} s never: {what}; last: {value!r}"
        time.sleep(rest_s)
        rest_s = min(rest_s * 1.2, 0.06)


@dataclass(frozen=True, slots=True)
class Done:
    """How a command ended: exit code and both texts."""

    code: int
    out: str
    err: str

    @property
    def said(self) -> str:
        """All that a person saw."""
        return self.out + self.err

    @property
    def json(self) -> Any:
        """Standard output as one JSON document."""
        return json.loads(self.out)


def _environment(**more: str) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if not name.startswith("GATEPOST_")}
    return {**kept, "PYTHONUNBUFFERED": "1", "COLUMNS": "200", **more}


def gatepost(*arguments: str | Path, **environment: str) -> Done:
    """Give a command as a user would, and wait for its end. A trace in what it says is a failure in itself."""
    command = [sys.executable, "-m", "gateway", *map(str, arguments)]
    done = subprocess.run(
        command, capture_output=True, text=True, check=False, timeout=100, stdin=subprocess.DEVNULL,
        env=_environment(**environment),
    )  # fmt: skip
    assert "Traceback" not in done.stderr, done.stderr
    return Done(done.returncode, done.stdout, done.stderr)


#: Commands, by their first word, that have been given from nothing.
_begun: set[str] = set()


def _give(arguments: Sequence[str], environment: Mapping[str, str]) -> Done:
    """As `gatepost` does, and soon: only the first use of each command begins from nothing."""
    if arguments[0] not in _begun:
        _begun.add(arguments[0])
        return gatepost(*arguments, **environment)
    with tempfile.TemporaryDirectory(prefix="fq-") as folder:
        out, err = Path(folder, "out"), Path(folder, "err")
        process = WarmProcess(arguments, _environment(**environment), out, err)
        try:
            code = process.wait(100)
        finally:
            process.kill()
        done = Done(code, out.read_text("utf-8"), err.read_text("utf-8"))
    assert "Traceback" not in done.err, done.err
    return done


def _start(log: Path, *arguments: str | Path) -> WarmProcess:
    return WarmProcess([*map(str, arguments)], _environment(), log, log)


def _end(process: WarmProcess) -> int:
    process.terminate()
    try:
        return process.wait(15)
    except subprocess.TimeoutExpired:
        process.kill()
        return process.wait(15)


@dataclass
class VirtualLine:
    """One line's virtual receivers: the port they are on, and their control socket."""

    port: Path
    control: Path
    log: Path
    options: tuple[str, ...]
    process: WarmProcess = field(init=False)

    def start(self) -> None:
        """Start the process and wait until its port is there and its control socket is listened at."""
        self.process = _start(
            self.log, "virtual-receiver", "--link", self.port, "--control", self.control, *self.options
        )
        until(lambda: self.port.exists() and self._listens(), f"a port at {self.port}: {self.log.read_text()}")

    def _listens(self) -> bool:
        with socket.socket(socket.AF_UNIX) as peer:  # its name is there a moment before anybody listens
            return peer.connect_ex(str(self.control)) == 0

    def stop(self) -> None:
        """End the process."""
        _end(self.process)

    def tell(self, line: str) -> str:
        """Give the receiver a command; its answer."""
        with socket.socket(socket.AF_UNIX) as peer:
            peer.settimeout(10)
            peer.connect(str(self.control))
            peer.sendall(line.encode() + b"\n")
            with peer.makefile(encoding="utf-8") as answers:
                return answers.readline().rstrip("\n")

    def shown(self, subject: str = "status", address: int = 1) -> Any:
        """What the receiver itself says it holds."""
        return json.loads(self.tell(f"@{address} show {subject}"))

    def revision(self, address: int = 1) -> int:
        """Its configuration revision: rises with every change from any source."""
        return int(self.shown("status", address)["revision"])

    def memory(self, address: int = 1) -> tuple[int, str]:
        """Revision and all slots: equal before and after when nothing was changed."""
        return self.revision(address), self.tell(f"@{address} show slots")

    def rights(self, address: int = 1) -> dict[str, dict[str, list[int]]]:
        """Outputs by position, by serial."""
        return {slot["serial"]: slot["outputs"] for slot in self.shown("slots", address)}


@contextmanager
def _modbus(port: Path, baud: int) -> Iterator[ModbusSerialClient]:
    client = ModbusSerialClient(str(port), baudrate=baud, timeout=2, retries=1)
    assert client.connect()
    try:
        yield client
    finally:
        client.close()  # type: ignore[no-untyped-call]


def memory_sums(port: Path, address: int = 1, baud: int = 19200, password: str = "") -> list[int]:
    """Revision and CRC-32 of every block, read by pymodbus from the page's addresses; the port must be free."""
    with _modbus(port, baud) as client:
        if password:
            words = _words(password)
            assert not client.write_registers(_PAGE.address("unlock"), words, device_id=address).isError()
        answer = client.read_input_registers(_PAGE.address("block CRCs"), count=68, device_id=address)
        assert not answer.isError(), answer
        if password:
            client.write_register(_PAGE.address("lock"), 1, device_id=address)
        return list(answer.registers)


def set_link_password(port: Path, password: str, address: int = 1, baud: int = 19200) -> None:
    """Put a link password into a receiver that has none, by pymodbus, and lock it."""
    with _modbus(port, baud) as client:
        words = _words(password)
        assert not client.write_registers(_PAGE.address("link password"), words, device_id=address).isError()
        assert not client.write_register(_PAGE.address("lock"), 1, device_id=address).isError()


def _words(password: str) -> list[int]:
    padded = password.encode().ljust(8, b"\0")
    return [int.from_bytes(padded[place : place + 2], "big") for place in range(0, 8, 2)]


@dataclass
class Daemon:
    """The gateway as a process, its log, and a client on its socket."""

    config: Path
    socket: Path
    log: Path
    process: WarmProcess = field(init=False)
    client: httpx.Client = field(init=False)

    def start(self) -> None:
        """Start and wait until the API answers."""
        self.process = _start(self.log, "run", "--config", self.config)
        if hasattr(self, "client"):
            self.client.close()
        self.client = httpx.Client(
            transport=httpx.HTTPTransport(uds=str(self.socket)), base_url="http://localhost/api/v1", timeout=20
        )
        until(self._answers, "an answering daemon")

    def _answers(self) -> bool:
        assert self.process.poll() is None, self.log.read_text()
        with socket.socket(socket.AF_UNIX) as door:  # httpx leaves a socket open where nobody listens yet
            if door.connect_ex(str(self.socket)) != 0:
                return False
        return self.client.get("/gateway").status_code == 200

    @property
    def address(self) -> str:
        """Where the API listens for others, as the newest start has said."""
        ready = [json.loads(line) for line in self.log.read_text().splitlines() if '"gateway.ready"' in line]
        return f"http://127.0.0.1:{ready[-1]['ports'][0]}"

    def get(self, path: str, **query: str | int) -> Any:
        """JSON at a path of the API."""
        answer = self.client.get(path, params=query)
        assert answer.status_code == 200, answer.text
        return answer.json()

    def post(self, path: str, body: object = None) -> httpx.Response:
        """Send a request with a body."""
        return self.client.post(path, json=body)

    def receiver(self, name: str) -> dict[str, Any]:
        """One receiver's row."""
        found: dict[str, Any] = self.get(f"/receivers/{name}")
        return found

    def wait_mirrored(self, *names: str) -> None:
        """Until each of these has been read in full."""
        for name in names:
            until(lambda name=name: self.receiver(name)["mirror_revision"] is not None, f"a mirror of {name}")  # type: ignore[misc]

    def wait_link(self, name: str, link: str) -> dict[str, Any]:
        """Until a receiver's link is in this state; its row."""
        return until(lambda: row if (row := self.receiver(name))["link"] == link else None, f"{name} is {link}")

    def events(self) -> list[dict[str, Any]]:
        """Every event that the journal keeps, oldest first."""
        found: list[dict[str, Any]] = []
        query: dict[str, str | int] = {"limit": 500}
        while True:
            page = self.get("/events", **query)
            found += page["events"]
            if not page.get("next"):
                return found[::-1]
            query["cursor"] = page["next"]

    def stop(self) -> int:
        """End it in order; its exit code."""
        self.client.close()
        return _end(self.process)

    def kill(self) -> None:
        """End it as a power cut would."""
        self.client.close()
        self.process.send_signal(signal.SIGKILL)
        self.process.wait(10)


class Yard:
    """A folder with settings, a roster, lines and a daemon. Nothing runs until it is started."""

    def __init__(self, folder: Path, stack: ExitStack) -> None:
        self.folder = folder
        self._stack = stack
        self.lines: dict[str, VirtualLine] = {}
        self.socket = folder / "api.sock"
        self.config = folder / "gatepost.toml"
        self.roster = folder / "roster.csv"
        self.groups = folder / "groups.toml"
        self.groups.write_text(GROUPS)
        self.daemon = Daemon(self.config, self.socket, folder / "daemon.log")

    # --- files ---

    def write_settings(
        self,
        *,
        listen: str = "127.0.0.1:0",
        baud: int = 19200,
        port: Path | None = None,
        receiver: str = "",
        more: str = "",
        roster: str | None = None,
        inputs: str = 'inputs = { 1 = "gate closed" }',
        api: str = "",
    ) -> None:
        """Settings with one receiver, `slip-gate`, on the line `quayside`; the rest as asked."""
        if roster is None:
            roster = f'source = "{self.roster}"\ngroups = "{self.groups}"\nschedule = "30 2 * * *"\nspread_s = 0'
        self.config.write_text(
            f'[gateway]\nsite = "fennel-quay"\ntime_zone = "Europe/London"\nclock = "trusted"\n'
            f'state = "{self.folder / "state"}"\n\n'
            f'[api]\nlisten = "{listen}"\nsocket = "{self.socket}"\n{api}\n\n'
            f'[lines.quayside]\nport = "{port or self.folder / "quayside"}"\nbaud = {baud}\n\n'
            f'[receivers.slip-gate]\nline = "quayside"\noutputs = {{ 1 = "gate", 2 = "boat-hoist" }}\n'
            f"{inputs}\n{receiver}\n\n" + (f"[roster]\n{roster}\n" if roster else "") + more
        )

    def write_roster(self, *rows: str) -> None:
        """Rows of serial, holder, kind and group."""
        self.roster.write_text(HEADER + "".join(row + "\n" for row in rows))

    # --- processes ---

    def line(self, name: str, *options: str) -> VirtualLine:
        """Start virtual receivers on a line of their own."""
        line = VirtualLine(
            self.folder / name, self.folder / f"{name}.control", self.folder / f"{name}.log", tuple(options)
        )
        line.start()
        self.lines[name] = line
        self._stack.callback(line.stop)
        return line

    def start(self) -> Daemon:
        """Start the daemon."""
        self._stack.callback(self._end_daemon)
        self.daemon.start()
        return self.daemon

    def _end_daemon(self) -> None:
        if self.daemon.process.poll() is None:
            self.daemon.stop()

    def run(self, *arguments: str | Path, **environment: str) -> Done:
        """A command, given on the board of this yard."""
        return _give([*map(str, arguments)], {"GATEPOST_SOCKET": str(self.socket), **environment})

    def run_all(self, *commands: Sequence[str | Path]) -> list[Done]:
        """Several commands at the same time, in the order given."""
        with ThreadPoolExecutor(len(commands)) as pool:
            return list(pool.map(lambda command: self.run(*command), commands))

    def check(self, *arguments: str) -> Done:
        """`gatepost check` with this yard's settings."""
        return self.run("check", "--config", self.config, *arguments)


@contextmanager
def open_yard() -> Iterator[Yard]:
    """A yard in a folder with a short name, for a socket's path has 107 characters at most. It ends with the body."""
    with tempfile.TemporaryDirectory(prefix="fq-") as folder, ExitStack() as stack:
        yield Yard(Path(folder), stack)


def berths(count: int, first: int = 48_200_001, group: str = "berth-holders") -> Sequence[str]:
    """Rows of that many berth holders."""
    return [f"{first + n:010d},Berth {n + 1},two-button,{group}" for n in range(count)]
