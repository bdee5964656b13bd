"""A real Mosquitto on a free port of the loopback, with a state folder of its own: killed, restarted, filled up.

What it has received stands in its own log, which does not depend on any subscriber being there.
"""

from __future__ import annotations

import asyncio
import re
import signal
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

__all__ = ["Broker", "run_broker"]


def _free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


class Broker:
    """`start` and `kill` as often as wanted; the port stays."""

    def __init__(self, program: str, folder: Path, extra: str) -> None:
        self.port = _free_port()
        self.log = folder / "broker.log"
        self._program = program
        self._config = folder / "broker.conf"
        self._process: asyncio.subprocess.Process | None = None
        self._config.write_text(
            f"user root\nlistener {self.port} 127.0.0.1\npersistence true\npersistence_location {folder}/\n"
            f"autosave_interval 1\nlog_dest file {self.log}\nlog_type all\n"
            + ("" if "allow_anonymous" in extra else "allow_anonymous true\n")
            + extra
        )

    async def start(self) -> None:
        """Until it accepts connections."""
        self._process = await asyncio.create_subprocess_exec(
            self._program, "-c", str(self._config), stdout=asyncio.subprocess.DEVNULL, stderr=asyncio.subprocess.DEVNULL
        )
        for _ in range(200):
            try:
                _, writer = await asyncio.open_connection("127.0.0.1", self.port)
            except OSError:
                await asyncio.sleep(0.02)
                continue
            writer.close()
            await writer.wait_closed()
            return
        raise AssertionError(f"the broker does not start: {self.log.read_text() if self.log.exists() else 'no log'}")

    async def kill(self, how: signal.Signals = signal.SIGKILL) -> None:
        """As a crash does, or in order with SIGTERM."""
        if self._process is not None:
            if self._process.returncode is None:
                self._process.send_signal(how)
            await self._process.wait()
            self._process = None

    def forget(self) -> None:
        """What it had kept is gone."""
        for kept in self._config.parent.glob("mosquitto.db*"):
            kept.unlink()

    def received(self) -> list[str]:
        """Topics of every PUBLISH that it has received, in order."""
        text = self.log.read_text() if self.log.exists() else ""
        return re.findall(r"Received PUBLISH from \S+ \(d\d, q\d, r\d, m\d+, '([^']+)'", text)


@asynccontextmanager
async def run_broker(program: str, folder: Path, extra: str = "") -> AsyncIterator[Broker]:
    """Started; ended with the block."""
    broker = Broker(program, folder, extra)
    await broker.start()
    try:
        yield broker
    finally:
        await broker.kill()
