"""`people group list | set | rename | remove`: named sets of rights that many people share."""

from __future__ import annotations

import re
from typing import Annotated, Any
from urllib.parse import quote

import typer

from gateway.cli.client import ApiClient, ApiProblem
from gateway.cli.console import AsJson, console, print_json
from gateway.cli.people.outcomes import Apply, make_edit
from gateway.cli.reaching import Reach, reaching

__all__ = ["checked", "group"]

group = typer.Typer(help="Groups: named sets of rights that many people share.", no_args_is_help=True)
_Name = Annotated[str, typer.Argument(help="The group's name.")]


@group.command("list")
@reaching
def list_groups(daemon: Reach, as_json: AsJson = False) -> None:
    """List the groups, what they may work, and how many are in each."""

    async def work(client: ApiClient) -> Any:
        return await client.get("/roster/groups")

    found = daemon.ask(work)
    if as_json:
        print_json(found)
        return
    for each in found["groups"]:
        rights = [
            f"{position}:{receiver}/{output}"
            for receiver, positions in each["rights"].items()
            for position, outputs in positions.items()
            for output in outputs
        ]
        count = "1 transmitter" if each["members"] == 1 else f"{each['members']} transmitters"
        console.print(f"{each['name']}: {' '.join(rights) or 'nothing'}; {count}", markup=False)
    if not found["groups"]:
        console.print("There are no groups.")


@group.command("set")
@reaching
def set_(
    daemon: Reach,
    name: _Name,
    right: Annotated[list[str], typer.Argument(help="position:receiver/output, such as 1:slip-gate/gate.")],
    apply: Apply = False,
    as_json: AsJson = False,
) -> None:
    """Make a group, or give it these rights in place of all others. Everybody in it follows."""

    async def edit(client: ApiClient) -> Any:
        return await _put(client, name, {"rights": _table(right)})

    make_edit(edit, apply=apply, daemon=daemon, as_json=as_json)


@group.command("rename")
@reaching
def rename(
    daemon: Reach,
    name: _Name,
    new: Annotated[str, typer.Argument(help="The new name.")],
    as_json: AsJson = False,
) -> None:
    """Give a group another name; nobody's rights change."""

    async def edit(client: ApiClient) -> Any:
        return await client.change(_path(name), {"name": new}, method="PUT")

    make_edit(edit, apply=False, daemon=daemon, as_json=as_json)


@group.command("remove")
@reaching
def remove(
    daemon: Reach,
    name: _Name,
    as_json: AsJson = False,
) -> None:
    """Remove a group that nobody is in."""

    async def edit(client: ApiClient) -> Any:
        return await client.change(_path(name), None, method="DELETE")

    make_edit(edit, apply=False, daemon=daemon, as_json=as_json)


def _path(name: str) -> str:
    return f"/roster/groups/{quote(name, safe='')}"


async def _put(client: ApiClient, name: str, body: dict[str, Any]) -> Any:
    try:
        tag = await client.tag(_path(name))
    except ApiProblem as problem:
        if problem.code != "not-found":
            raise
        tag = ""
    return await client.send("PUT", _path(name), body, headers={"If-Match": tag} if tag else None)


def checked(rights: list[str]) -> list[str]:
    """The same rights. Raises BadParameter for what is none, with the form."""
    for right in rights:
        if not re.fullmatch(r"[^\s:/,;]+:[^\s:/,;]+/[^\s:/,;]+", right):
            raise typer.BadParameter(f"“{right}” is no right; write position:receiver/output, such as 1:slip-gate/gate")
    return rights


def _table(rights: list[str]) -> dict[str, dict[str, list[str]]]:
    table: dict[str, dict[str, list[str]]] = {}
    for right in checked(rights):
        position, _, place = right.partition(":")
        receiver, _, output = place.partition("/")
        table.setdefault(receiver, {}).setdefault(position, []).append(output)
    return table
