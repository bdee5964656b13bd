"""The yard's processes: two lines of virtual receivers and the daemon, in a folder of their own."""

from __future__ import annotations

import asyncio
import errno
import os
import socket
import sys
from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import typer
from pydantic import ValidationError

from gateway.cli.client import ApiClient, CannotReach
from gateway.cli.demo.boatyard import GROUPS_TOML, RECEIVERS, Place, roster_csv, settings_toml
from gateway.clock import Clock
from gateway.errors import GatepostError, Refused
from gateway.settings import ApiSettings

__all__ = ["Yard", "check_listen", "open_yard"]

BAUD = 115_200
_START_TIMEOUT_S = 20.0


@dataclass(frozen=True, slots=True)
class Yard:
    """A running boatyard: a client of its daemon, and the buttons of its receivers."""

    folder: Path
    client: ApiClient
    clock: Clock

    async def act(self, place: Place, command: str) -> str:
        """Do something at a virtual receiver: press a transmitter, open a contact. Returns its answer in words."""
        reader, writer = await asyncio.open_unix_connection(self.folder / f"{place.line}.control")
        try:
            writer.write(f"@{place.address} {command}\n".encode())
            await writer.drain()
            return (await reader.readline()).decode("utf-8").strip()
        finally:
            writer.close()
            await writer.wait_closed()

    async def wait_mirrored(self) -> list[dict[str, Any]]:
        """Every receiver, once each has been read for the first time."""
        async with self.clock.timeout(_START_TIMEOUT_S):
            while True:
                receivers: list[dict[str, Any]] = (await self.client.get("/receivers"))["receivers"]
                if all(entry["mirror_revision"] is not None for entry in receivers):
                    return receivers
                await self.clock.sleep(0.1)


def check_listen(listen: str) -> None:
    """Look at the API's address before anything is started. Raises Refused when another program has it.

    Raises typer.BadParameter when it is no address that the settings would take.
    """
    try:
        host, port = ApiSettings(listen=listen).host_and_port
    except ValidationError as fault:
        words = fault.errors()[0]["msg"].removeprefix("Value error, ")
        raise typer.BadParameter(f"“{listen}”: {words}") from None
    try:
        socket.create_server((host, port), family=socket.AF_INET6 if ":" in host else socket.AF_INET).close()
    except OSError as fault:
        what = f"The API can't listen on {listen}: {fault.strerror}."
        if fault.errno == errno.EADDRINUSE:
            what = f"Another program listens on {listen}."
        raise Refused(what, remedy="Name another address with --listen 127.0.0.1:PORT.") from fault


@asynccontextmanager
async def open_yard(folder: Path, listen: str, clock: Clock) -> AsyncIterator[Yard]:
    """Write the files, start the processes, end them at the end. Raises GatepostError when one doesn't start."""
    (folder / "roster.csv").write_text(roster_csv(), "utf-8")
    (folder / "groups.toml").write_text(GROUPS_TOML, "utf-8")
    (folder / "gatepost.toml").write_text(settings_toml(folder, listen, BAUD), "utf-8")
    async with AsyncExitStack() as stack:
        for line in sorted({place.line for place in RECEIVERS}):
            here = [place for place in RECEIVERS if place.line == line]
            who = [part for p in here for part in ("--address", str(p.address), "--serial", p.serial)]
            process = await stack.enter_async_context(_process(folder / f"{line}.log", clock, "virtual-receiver",
                "--link", str(folder / line), "--control", str(folder / f"{line}.control"),
                "--baud", str(BAUD), "--paced", *who))  # fmt: skip
            await _wait_path(folder / f"{line}.control", process, folder / f"{line}.log", clock)
        log = folder / "gateway.log"
        daemon = await stack.enter_async_context(_process(log, clock, "run", "--config", str(folder / "gatepost.toml")))
        client = await stack.enter_async_context(ApiClient(socket=folder / "api.sock"))
        await _wait_api(client, daemon, log, clock)
        yield Yard(folder, client, clock)


@asynccontextmanager
async def _process(log: Path, clock: Clock, *arguments: str) -> AsyncIterator[asyncio.subprocess.Process]:
    with log.open("wb") as output:
        process = await asyncio.create_subprocess_exec(
            sys.executable, "-m", "gateway", *arguments,
            stdin=asyncio.subprocess.DEVNULL, stdout=output, stderr=output,
            env={**os.environ, "PYTHONUNBUFFERED": "1"}, start_new_session=True,
        )  # fmt: skip
    try:
        yield process
    finally:
        if process.returncode is None:
            process.terminate()
            try:
                async with clock.timeout(10):
                    await process.wait()
            except TimeoutError:
                process.kill()
                await process.wait()


def _ended(process: asyncio.subprocess.Process, log: Path) -> GatepostError:
    last = log.read_text("utf-8", "replace").strip().splitlines()[-5:]
    return GatepostError(
        f"A part of the demo ended with exit code {process.returncode}:\n" + "\n".join(last),
        remedy="The lines above say why; the demo's folder is gone again.",
    )


async def _wait_path(path: Path, process: asyncio.subprocess.Process, log: Path, clock: Clock) -> None:
    async with clock.timeout(_START_TIMEOUT_S):
        while not os.path.exists(path):  # noqa: ASYNC240 - a stat on a local folder
            if process.returncode is not None:
                raise _ended(process, log)
            await clock.sleep(0.05)


async def _wait_api(client: ApiClient, process: asyncio.subprocess.Process, log: Path, clock: Clock) -> None:
    async with clock.timeout(_START_TIMEOUT_S):
        while True:
            try:
                await client.get("/gateway")
            except CannotReach:
                if process.returncode is not None:
                    raise _ended(process, log) from None
                await clock.sleep(0.05)
            else:
                return
