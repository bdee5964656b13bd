"""`token add | list | remove`."""

from __future__ import annotations

from typing import Annotated

import typer

from gateway.api.scopes import Scope
from gateway.cli.console import AsJson, console, print_json
from gateway.cli.reaching import Reach, reaching

__all__ = ["tokens"]

tokens = typer.Typer(help="Access tokens of the API.", no_args_is_help=True)


@tokens.command("add")
@reaching
def add(
    daemon: Reach,
    name: Annotated[str, typer.Argument(help="Who or what will use it.")],
    scope: Annotated[list[Scope], typer.Option("--scope", help="What it may do; may be repeated.")],
    as_json: AsJson = False,
) -> None:
    """Make a token. Its secret is shown this once and kept nowhere."""
    made = daemon.ask(lambda client: client.create_token({"name": name, "scopes": [each.value for each in scope]}))
    if as_json:
        print_json(made)
        return
    console.print(f"Token {made['id']} for {made['name']} ({', '.join(made['scopes'])}):", markup=False)
    console.print(made["secret"], markup=False)
    console.print("It is shown this once. Keep it in a file that only its user may read.")


@tokens.command("list")
@reaching
def list_(daemon: Reach, as_json: AsJson = False) -> None:
    """List the tokens, without their secrets."""
    found = daemon.ask(lambda client: client.list_tokens())
    if as_json:
        print_json(found)
    elif not found["tokens"]:
        console.print("There are no tokens. Make one with: gatepost token add NAME --scope view")
    for token in [] if as_json else found["tokens"]:
        console.print(
            f"{token['id']}  {token['name']}  {', '.join(token['scopes'])}  since {token['created']}", markup=False
        )


@tokens.command("remove")
@reaching
def remove(
    daemon: Reach,
    token_id: Annotated[str, typer.Argument(help="The token's id, as listed.")],
) -> None:
    """End a token at once."""
    daemon.ask(lambda client: client.remove_token(token_id))
    console.print(f"Token {token_id} is gone.", markup=False)
