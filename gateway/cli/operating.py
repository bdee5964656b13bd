"""`output list | operate`: which outputs may be operated from afar, and one closure of one of them.

Operating needs somebody at a terminal who reads the cautions and types the output's name: no flag stands in for that,
so that neither a timetable nor a script can operate a gate.
"""

from __future__ import annotations

import asyncio
import sys
import uuid
from collections.abc import Mapping
from typing import Annotated, Any

import typer

from gateway.cli.client import ApiClient, part
from gateway.cli.console import (
    REFUSED,
    AsJson,
    console,
    fail,
    print_json,
    tell_aside,
)
from gateway.cli.reaching import Reach, reaching
from gateway.domain.cautions import CAUTIONS, WHO_DECIDES
from gateway.errors import NotFound, Refused

__all__ = ["outputs", "tell_cautions"]

outputs = typer.Typer(help="Outputs that the settings allow to be operated from afar.", no_args_is_help=True)

_LOOKS_S = 0.5
_UNDER_WAY = ("warning", "sending")


def tell_cautions() -> None:
    """The cautions, numbered, on standard error."""
    for number, caution in enumerate(CAUTIONS, 1):
        tell_aside(f"{number}. {caution}")
    tell_aside(WHO_DECIDES)


@outputs.command("list")
@reaching
def list_(
    daemon: Reach,
    receiver: Annotated[str, typer.Argument(help="The receiver's name.")],
    as_json: AsJson = False,
) -> None:
    """Show the outputs of a receiver, and which of them may be operated from afar."""
    found = daemon.ask(lambda client: client.get(f"/receivers/{part(receiver)}/outputs"))
    if as_json:
        print_json(found)
        return
    if not found["outputs"]:
        console.print(f"No output of {receiver} has a name.", markup=False)
    for output in found["outputs"]:
        console.print(_sentence(output), markup=False)
    tell_cautions()


@outputs.command("operate")
@reaching
def operate(
    daemon: Reach,
    receiver: Annotated[str, typer.Argument(help="The receiver's name.")],
    output: Annotated[str, typer.Argument(help="The output's name or number.")],
    reason: Annotated[str, typer.Option("--reason", help="Why; it is audited.")],
    seconds: Annotated[
        float | None, typer.Option("--seconds", help="A shorter closure than the output's own on-time.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Close an output once, from afar. Asks for the output's name at a terminal; the receiver ends the closure."""
    named = daemon.ask(lambda client: _find(client, receiver, output))
    if not sys.stdin.isatty():
        fail(
            Refused(
                "This needs somebody at a terminal: an output is never operated by a timetable or a script.",
                remedy="Give the command at a terminal and type the output's name when it asks.",
                code="not-at-a-terminal",
            )
        )
    tell_cautions()
    word = named["name"] or str(named["number"])
    tell_aside(f"See the gate, or know that nobody is near it. This closes {word} of {receiver} once.")
    if typer.prompt(f"Type {word} to operate it", default="", show_default=False, err=True) != word:
        fail(
            Refused("The output's name was not typed; nothing was sent.", remedy="Give it again.", code="not-confirmed")
        )
    body = {"reason": reason} | ({} if seconds is None else {"seconds": seconds})
    path, headers = (
        f"/receivers/{part(receiver)}/outputs/{named['number']}/operations",
        {"Idempotency-Key": str(uuid.uuid4())},
    )

    async def work(client: ApiClient) -> Any:
        made = await client.send("POST", path, body, headers=headers)
        while made["state"] in _UNDER_WAY:
            await asyncio.sleep(_LOOKS_S)
            made = await client.get(f"{path}/{made['id']}")
        return made

    found = daemon.ask(work)
    if as_json:
        print_json(found)
    else:
        console.print(f"{found['sentence']} {found['remedy']}".strip(), markup=False)
    if found["state"] != "done":
        raise typer.Exit(REFUSED)


async def _find(client: ApiClient, receiver: str, output: str) -> Any:
    found = (await client.get(f"/receivers/{part(receiver)}/outputs"))["outputs"]
    for each in found:
        if output.casefold() in (each["name"].casefold(), str(each["number"])):
            return each
    if output.isdigit():
        return {"number": int(output), "name": ""}
    names = ", ".join(each["name"] for each in found) or "nothing; give its number"
    raise NotFound(f"No output of {receiver} is called “{output}”.", remedy=f"They are called: {names}.")


def _sentence(output: Mapping[str, Any]) -> str:
    words = f"{output['number']} {output['name']}" + (f", which moves {output['gate']}" if output["gate"] else "")
    if not output["allowed"]:
        return f"{words}: not operated from afar."
    warning = output["warning"]
    first = f", after {warning['seconds']:g} s of {warning['name']}" if warning else ""
    return f"{words}: may be operated from afar{first}."
