"""`reset`: clear a receiver for its removal, from the board's own command line alone."""

from __future__ import annotations

from typing import Annotated

import typer

from gateway.cli.client import DEFAULT_SOCKET, part
from gateway.cli.console import AsJson, SocketOption, ask, console, print_json

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
    found = ask(lambda client: client.get(f"/receivers/{part(receiver)}"), socket=socket)
    if confirm is None:
        held = found["slots_used"]
        console.print(
            f"This takes {'all' if held is None else 'the' if held == 1 else f'all {held}'} "
            f"transmitter{'' if held == 1 else 's'} out of {receiver}; nobody opens with them any more. "
            "On-times and locks are as from the factory then, and the link password is off.",
            markup=False,
        )
        confirm = typer.prompt(
            f"Type the name of the receiver to clear it ({receiver})", default="", show_default=False
        )
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
