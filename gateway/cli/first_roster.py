"""`roster from-receiver`: a first roster for a site that is in use already."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from gateway.cli.client import ApiClient
from gateway.cli.console import AsJson, console, print_json, tell_aside
from gateway.cli.people.files import write_pair
from gateway.cli.reaching import Reach, reaching

__all__ = ["from_receiver"]


@reaching
def from_receiver(
    daemon: Reach,
    folder: Annotated[
        Path | None, typer.Argument(help="Where to write roster.csv and groups.toml; only told about without.")
    ] = None,
    receiver: Annotated[
        list[str] | None, typer.Option("--receiver", help="Only this receiver; may be repeated.")
    ] = None,
    keep: Annotated[bool, typer.Option("--keep", help="Keep it as the gateway's own roster (source = local).")] = False,
    replace: Annotated[bool, typer.Option("--replace", help="Replace files that are there.")] = False,
    as_json: AsJson = False,
) -> None:
    """Read what the receivers hold and write a first roster of it. Nothing is changed on any receiver."""

    async def work(client: ApiClient) -> Any:
        body = {"receivers": receiver or [], "keep": keep}
        first = await client.send("POST", "/roster/first-rosters", body)
        if folder is not None:
            write_pair(folder, first["roster"].encode(), first["groups"].encode(), replace=replace)
        return first

    first = daemon.ask(work)
    if as_json:
        print_json(first)
        return
    console.print(
        f"Found {_count(first['transmitters'], 'transmitter')} of {_count(first['holders'], 'holder')}, "
        f"{_count(len(first['group_names']), 'group')}, {first['unnamed']} without a name."
    )
    for note in first["notes"]:
        tell_aside(f"Note: {note}")
    if folder is not None:
        console.print(f"Wrote {folder / 'roster.csv'} and {folder / 'groups.toml'}.", markup=False)
    if first["edit"] is not None:
        console.print(f"Kept as revision {first['edit']['revision']['number']}; nothing was written to any receiver.")
    if first["unnamed"]:
        console.print("Name them as they are heard: gatepost people list --unnamed, gatepost people rename SERIAL NAME")
    if folder is None and not keep:
        console.print("Nothing was kept. Name a folder for files, or use --keep.")


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
