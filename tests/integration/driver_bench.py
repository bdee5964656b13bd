"""The register-map driver on a real `Line`, over a pseudo-terminal, with a virtual receiver at the other end."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from pathlib import Path

from gateway.clock import SystemClock
from gateway.line import Line, LineConfig
from gateway.maps import load_map
from gateway.receivers import PasswordSupplier, RegisterMapReceiver, build_receiver
from gateway.virtual import VirtualOptions, run_virtual

__all__ = ["Bench", "bench"]


@dataclass(frozen=True, slots=True)
class Bench:
    """`command` drives the virtual receiver (docs/virtual-receiver.md)."""

    receiver: RegisterMapReceiver
    line: Line
    command: Callable[[str], str]

    def another(self, password: PasswordSupplier) -> RegisterMapReceiver:
        """A second driver of the same receiver, as after a restart of the gateway."""
        receiver_map = self.receiver._map
        return build_receiver("slip-gate", receiver_map, self.line, 1, password)


@contextlib.asynccontextmanager
async def bench(
    folder: Path,
    *,
    map_name: str = "reference",
    password: PasswordSupplier = lambda: "",
    baud: int = 115_200,
    paced: bool = False,
    slots: int = 1024,
    tries: int = 3,
) -> AsyncIterator[Bench]:
    """All of it running, the port open."""
    link, ready = folder / "tty", asyncio.get_running_loop().create_future()
    options = VirtualOptions(
        link, baud=baud, paced=paced, map_name=map_name, slots=slots, use_stdin=False, stop_on_signals=False
    )
    line = Line(LineConfig("quay", str(link), baud, tries=tries), SystemClock())
    async with asyncio.TaskGroup() as tasks:
        playing = tasks.create_task(
            run_virtual(options, ready=lambda commands: ready.set_result(commands.run), say=lambda _: None)
        )
        await asyncio.wait([ready, playing], return_when=asyncio.FIRST_COMPLETED)
        owner = tasks.create_task(line.run())
        try:
            command = ready.result()
            await line.wait_open()
            yield Bench(build_receiver("slip-gate", load_map(map_name), line, 1, password), line, command)
        finally:
            owner.cancel()
            playing.cancel()
