"""`run` and `check`: the daemon itself, and whether it could run."""

from __future__ import annotations

import asyncio
import signal
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from gateway.cli.client import DEFAULT_SOCKET
from gateway.cli.console import REFUSED, UNREACHABLE, AsJson, SocketOption, console, fail, print_json
from gateway.cli.logs import set_up_logs
from gateway.cli.operating import tell_cautions
from gateway.clock import SystemClock
from gateway.errors import GatepostError

if TYPE_CHECKING:
    from gateway.cli.checking import Finding
    from gateway.settings import Settings

__all__ = ["check", "run"]

DEFAULT_PATH = Path("/etc/gatepost/gatepost.toml")
Config = Annotated[Path, typer.Option("--config", help="The settings file.")]


def run(config: Config = DEFAULT_PATH) -> None:
    """Run the daemon until it is told to stop (SIGTERM or Ctrl-C)."""
    try:
        settings = _load(config)
        if _is_first_start(settings.gateway.state):
            tell_cautions()
        set_up_logs(settings.gateway.log)
        asyncio.run(_run(settings))
    except GatepostError as error:
        fail(error)
    except BaseExceptionGroup as group:
        known = _first_known(group)
        if known is None:
            raise
        fail(known)


def _load(config: Path) -> Settings:
    from gateway.settings import load_settings  # noqa: PLC0415 - other commands start without it

    return load_settings(config)


def _is_first_start(state: Path) -> bool:
    """Nothing was kept yet; a service manager may have made the folder already."""
    return not state.is_dir() or not any(state.iterdir())


async def _run(settings: Settings) -> None:
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGTERM, signal.SIGINT):
        loop.add_signal_handler(number, stop.set)
    from gateway.daemon import run_gateway  # noqa: PLC0415 - other commands start without it

    await run_gateway(settings, clock=SystemClock(), stop=stop)


def _first_known(group: BaseExceptionGroup[BaseException]) -> GatepostError | None:
    """Our own error in a group that holds nothing else; a bug beside it must be seen with its trace."""
    known = [error for error in group.exceptions if isinstance(error, GatepostError)]
    return known[0] if len(known) == len(group.exceptions) else None


def check(config: Config = DEFAULT_PATH, socket: SocketOption = DEFAULT_SOCKET, as_json: AsJson = False) -> None:
    """Say what is wrong with settings, lines, receivers, clock and roster, and what to do. Writes nothing."""
    try:
        settings = _load(config)
        at = settings.api.socket if settings.api.socket is not None and socket == DEFAULT_SOCKET else socket
        findings = asyncio.run(_check(settings, at))
    except GatepostError as error:
        fail(error)
    if as_json:
        print_json([finding.document() for finding in findings])
    for finding in [] if as_json else findings:
        console.print(("good: " if finding.ok else "WRONG: ") + finding.text, markup=False)
        if not finding.ok and finding.remedy:
            console.print(f"  {finding.remedy}", markup=False)
    bad = [finding for finding in findings if not finding.ok]
    if bad:
        raise typer.Exit(UNREACHABLE if all(finding.unreachable for finding in bad) else REFUSED)


async def _check(settings: Settings, socket: Path) -> list[Finding]:
    from gateway.cli.checking import check_running, check_standing  # noqa: PLC0415 - other commands start without it

    clock = SystemClock()
    running = await check_running(settings, clock, socket)
    return running if running is not None else await check_standing(settings, clock)
