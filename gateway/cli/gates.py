"""`conditions` and `why`: what needs a person, and why a gate does not open for somebody."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

import typer

from gateway.cli.client import ApiClient, part
from gateway.cli.console import REFUSED, AsJson, console, local_time, print_json
from gateway.cli.reaching import Reach, reaching

__all__ = ["condition_line", "conditions", "why"]


def condition_line(condition: Mapping[str, Any]) -> str:
    """One condition in one line: how much it presses, what it says, since when, and who has taken note."""
    words = f"{condition['weight']}: {condition['sentence']} Since {local_time(condition['since'])}."
    if condition["visit"]:
        words += " People work there: a test."
    if (taken := condition["acknowledged"]) is not None:
        note = f": {taken['note'].rstrip('.')}" if taken.get("note") else ""
        words += f" Noted by {taken.get('name', 'somebody')}{note}."
    return f"{words} Cleared {local_time(condition['cleared'])}." if condition["cleared"] else words


@reaching
def conditions(
    daemon: Reach,
    recent: Annotated[bool, typer.Option("--recent", help="Also those that were cleared a while ago.")] = False,
    acknowledge: Annotated[
        str | None, typer.Option("--acknowledge", metavar="ID", help="Take note of this one; needs --name and --note.")
    ] = None,
    name: Annotated[str | None, typer.Option("--name", help="Who takes note.")] = None,
    note: Annotated[str | None, typer.Option("--note", help="What was found or done.")] = None,
    as_json: AsJson = False,
) -> None:
    """Say what needs a person: gates left open, contacts that chatter, receivers that are silent and the like."""
    if acknowledge is None and (name or note):
        raise typer.BadParameter("--name and --note go with --acknowledge ID")
    if acknowledge is not None and not (name and note):
        raise typer.BadParameter("give --name and --note too: who takes note, and what was found")

    async def work(client: ApiClient) -> Any:
        if acknowledge is not None:
            body = {"name": name, "note": note}
            return [await client.send("POST", f"/conditions/{part(acknowledge)}/acknowledgement", body)]
        return await client.get_all("/conditions", "conditions", state="all" if recent else "open")

    found = daemon.ask(work)
    if as_json:
        print_json(found)
    elif not found:
        console.print("Nothing needs a person.")
    else:
        for condition in found:
            console.print(f"{condition['id']}  {condition_line(condition)}", markup=False)
    if acknowledge is None and any(condition["cleared"] is None for condition in found):
        raise typer.Exit(REFUSED)


@reaching
def why(
    daemon: Reach,
    holder: Annotated[str, typer.Argument(help="A holder's name as the roster has it, or the serial.")],
    as_json: AsJson = False,
) -> None:
    """Say why a gate does not open for somebody: not heard, unknown, no right, gone, or the gate did not move."""
    found = daemon.ask(lambda client: client.get_why(holder=holder))["transmitters"]
    if as_json:
        print_json(found)
    else:
        for transmitter in found:
            console.print(f"Transmitter {transmitter['serial']} {transmitter['holder']}".rstrip() + ":", markup=False)
            for finding in transmitter["findings"]:
                mark = "→" if finding == transmitter["answer"] else " "
                console.print(f" {mark} {finding['sentence']}", markup=False)
                if finding["remedy"] and finding == transmitter["answer"]:
                    console.print(f"   {finding['remedy']}", markup=False)
    if any(transmitter["answer"]["reason"] != "worked" for transmitter in found):
        raise typer.Exit(REFUSED)
