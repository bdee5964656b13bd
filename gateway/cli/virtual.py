"""`virtual-receiver`: a receiver that exists only as a process, on a pseudo-terminal."""

from __future__ import annotations

import asyncio
import sys
from pathlib import Path
from typing import Annotated

import typer

from gateway.cli.console import fail, tell_aside
from gateway.domain.snapshot import Snapshot
from gateway.errors import GatepostError, SettingsFault

__all__ = ["virtual_receiver"]


def virtual_receiver(
    link: Annotated[Path, typer.Option("--link", help="Where the pseudo-terminal's link is made.")],
    address: Annotated[
        list[int] | None,
        typer.Option("--address", min=1, max=247, help="Modbus address; repeat it for several receivers."),
    ] = None,
    serial: Annotated[
        list[str] | None, typer.Option("--serial", help="The receiver's own serial; in the order of the addresses.")
    ] = None,
    baud: Annotated[int, typer.Option("--baud", min=300, max=4_000_000)] = 19_200,
    paced: Annotated[bool, typer.Option("--paced", help="Keep the time that a real wire takes, both ways.")] = False,
    map_: Annotated[str, typer.Option("--map", help="reference, plain-io, or a map file.")] = "reference",
    memory: Annotated[Path | None, typer.Option("--memory", help="A file that outlives the process.")] = None,
    control: Annotated[Path | None, typer.Option("--control", help="A unix socket for commands while it runs.")] = None,
    scenario: Annotated[Path | None, typer.Option("--scenario", help="A file of commands and their times.")] = None,
    seed: Annotated[int, typer.Option("--seed", help="For the noise.")] = 1,
    from_snapshot: Annotated[
        Path | None, typer.Option("--from-snapshot", help="Hold what this snapshot's file holds, to rehearse changes.")
    ] = None,
    same_serial: Annotated[
        bool, typer.Option("--same-serial", help="With --from-snapshot: the real serial, without the mark.")
    ] = False,
) -> None:
    """Be a receiver: answers on a pseudo-terminal, and is worked by commands on standard input (try: help)."""
    from gateway.virtual.process import VirtualOptions, run_virtual  # noqa: PLC0415 - other commands start without it

    snapshot = _snapshot(from_snapshot) if from_snapshot is not None else None
    if same_serial and snapshot is not None and not serial:
        serial = [snapshot.identity.serial]
    addresses = tuple(address or (1,))

    def greet(_: object) -> None:
        if sys.stdin.isatty():  # a person, who would otherwise look at nothing
            who = f"{'address' if len(addresses) == 1 else 'addresses'} {', '.join(map(str, addresses))}"
            tell_aside(f"It answers at {link}, {who}. Write help for its commands, quit to end it.")

    try:
        options = VirtualOptions(
            link=link,
            addresses=addresses,
            serials=tuple(serial or ()),
            baud=baud,
            paced=paced,
            map_name=map_,
            memory=memory,
            control=control,
            scenario=scenario,
            seed=seed,
            snapshot=snapshot,
        )
        asyncio.run(run_virtual(options, ready=greet))
    except GatepostError as error:
        fail(error)
    except KeyboardInterrupt:
        raise typer.Exit(0) from None


def _snapshot(path: Path) -> Snapshot:
    from gateway.store.snapshotfiles import read_document  # noqa: PLC0415 - only with this option

    try:
        return read_document(path.read_bytes())
    except OSError as fault:
        fail(SettingsFault(f"{path} can't be read: {fault.strerror}.", remedy="Check its path and rights."))
    except GatepostError as error:
        fail(error)
