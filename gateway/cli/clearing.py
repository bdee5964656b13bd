"""`reset`: clear a receiver for its removal, from the board's own command line alone."""

from __future__ import annotations

from typing import Annotated

import typer

from gateway.cli.client import DEFAULT_SOCKET, part
from gateway.cli.console import AsJson, SocketOption, answered, ask, console, print_json

__all__ = ["reset"]


def reset(
    receiver: Annotated[str, typer.Argument(help="The receiver's name.")],
    confirm: Annotated[
        str | None, typer.Option("--confirm", help="The receiver's name once more, instead of being asked for it.")
    ] = None,
    socket: SocketOption = DEFAULT_SOCKET,
    as_json: AsJson = False,
) -> None:
    """Clear a receiver: all transmitters, on-times, locks and the link password go. A snapshot is taken first."""
    if as_json and confirm is None:
        raise typer.BadParameter("--json asks nothing; add --confirm with the receiver's name")
    found = ask(lambda client: client.get(f"/receivers/{part(receiver)}"), socket=socket)
    if "reset" not in found["capabilities"]:
        confirm = confirm or ""  # nobody is asked about what can't be done; the answer says so
    if confirm is None:
        held = found["slots_used"]
        console.print(
            f"This takes {'all' if held is None else 'the' if held == 1 else f'all {held}'} "
            f"transmitter{'' if held == 1 else 's'} out of {receiver}; nobody opens with them any more. "
            "On-times and locks are as from the factory then, and the link password is off.",
            markup=False,
        )
        question = f"Type the name of the receiver to clear it ({receiver})"
        with answered(f"{receiver} was not cleared: nobody answered. Where nobody can, give --confirm {receiver}."):
            confirm = typer.prompt(question, default="", show_default=False)
    taken = ask(
        lambda client: client.send("POST", f"/receivers/{part(receiver)}/reset", {"name": confirm}), socket=socket
    )
    if as_json:
        print_json(taken)
        return
    console.print(f"{receiver} is empty, proven by its block CRCs. The roster waits there.", markup=False)
    console.print(
        f"The way back: gatepost snapshot restore {taken['id']} --settings\n"
        f"To let the roster fill it again: gatepost snapshot approve {receiver} --roster",
        markup=False,
    )
