"""`token add | list | remove`."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated

import typer

from gateway.cli.client import DEFAULT_SOCKET
from gateway.cli.console import AsJson, SocketOption, TokenFile, Url, ask, console, print_json

__all__ = ["tokens"]

tokens = typer.Typer(help="Access tokens of the API.", no_args_is_help=True)


class Scope(StrEnum):
    """What a token may do; each one includes `view`, `admin` includes all."""

    VIEW = "view"
    ROSTER = "roster"
    OPERATE = "operate"
    ADMIN = "admin"


@tokens.command("add")
def add(
    name: Annotated[str, typer.Argument(help="Who or what will use it.")],
    scope: Annotated[list[Scope], typer.Option("--scope", help="What it may do; may be repeated.")],
    url: Url = None,
    token_file: TokenFile = None,
    socket: SocketOption = DEFAULT_SOCKET,
    as_json: AsJson = False,
) -> None:
    """Make a token. Its secret is shown this once and kept nowhere."""
    body = {"name": name, "scopes": [str(item) for item in scope]}
    made = ask(lambda client: client.send("POST", "/tokens", body), url=url, token_file=token_file, socket=socket)
    if as_json:
        print_json(made)
        return
    console.print(f"Token {made['id']} for {made['name']} ({', '.join(made['scopes'])}):", markup=False)
    console.print(made["secret"], markup=False)
    console.print("It is shown this once. Keep it in a file that only its user may read.")


@tokens.command("list")
def list_(
    url: Url = None, token_file: TokenFile = None, socket: SocketOption = DEFAULT_SOCKET, as_json: AsJson = False
) -> None:
    """List the tokens, without their secrets."""
    found = ask(lambda client: client.get("/tokens"), url=url, token_file=token_file, socket=socket)
    if as_json:
        print_json(found)
    elif not found["tokens"]:
        console.print("There are no tokens. Make one with: gatepost token add NAME --scope view")
    for token in [] if as_json else found["tokens"]:
        console.print(
            f"{token['id']}  {token['name']}  {', '.join(token['scopes'])}  since {token['created']}", markup=False
        )


@tokens.command("remove")
def remove(
    token_id: Annotated[str, typer.Argument(help="The token's id, as listed.")],
    url: Url = None,
    token_file: TokenFile = None,
    socket: SocketOption = DEFAULT_SOCKET,
) -> None:
    """End a token at once."""
    ask(lambda client: client.send("DELETE", f"/tokens/{token_id}"), url=url, token_file=token_file, socket=socket)
    console.print(f"Token {token_id} is gone.", markup=False)
