"""One transmitter at a time.

`people add | copy | rename | hand-over | move | rights | kind | sites | begin | end | note | remove`.
"""

from __future__ import annotations

from typing import Annotated, Any

import typer

from gateway.cli.client import ApiClient
from gateway.cli.console import AsJson
from gateway.cli.people.finding import Person, WholeSerial, serial_of
from gateway.cli.people.grouping import checked
from gateway.cli.people.outcomes import Apply, make_edit
from gateway.cli.reaching import Reach, reaching
from gateway.cli.serials import full_serial

__all__ = ["people"]

people = typer.Typer(
    help="People: who works what where; and the roster, where the gateway keeps it itself.", no_args_is_help=True
)
_Kind = Annotated[str, typer.Option("--kind", help="The kind of transmitter, such as two-button.")]
_Sites = Annotated[list[str] | None, typer.Option("--site", help="Only at this site; may be repeated.")]
_From = Annotated[str, typer.Option("--from", help="The first day, such as 2026-04-01, or a time.")]
_Until = Annotated[str, typer.Option("--until", help="The last day, which still counts, or a time.")]
_Note = Annotated[str, typer.Option("--note", help="Anything worth knowing.")]


@people.command("add")
@reaching
def add(
    daemon: Reach,
    serial: WholeSerial,
    holder: Annotated[str, typer.Argument(help="Who carries it: a name, or a label such as Berth 12.")],
    group: Annotated[str, typer.Option("--group", help="The group to join.")] = "",
    right: Annotated[
        list[str] | None, typer.Option("--right", help="position:receiver/output instead of a group; may be repeated.")
    ] = None,
    like: Annotated[str | None, typer.Option("--like", help="Copy the rights of this serial or holder, once.")] = None,
    kind: _Kind = "",
    site: _Sites = None,
    since: _From = "",
    until: _Until = "",
    note: _Note = "",
    apply: Apply = False,
    as_json: AsJson = False,
) -> None:
    """Add a transmitter by its typed serial, with a group, rights of its own, or those of another."""
    ways = [name for name, given in (("--group", group), ("--right", right), ("--like", like)) if given]
    if len(ways) != 1:
        raise typer.BadParameter(f"give one of --group, --right and --like{f', not {len(ways)}' if ways else ''}")
    body: dict[str, Any] = {
        "holder": holder,
        "kind": kind,
        "group": group,
        "rights": checked(right or []),
        "sites": site or [],
    }
    body |= {"valid_from": since, "valid_until": until, "note": note}

    async def edit(client: ApiClient) -> Any:
        body["serial"] = full_serial(serial)
        if like is not None:
            body["copy_of"] = await serial_of(client, like)
        return await client.send("POST", "/people", body)

    make_edit(edit, apply=apply, daemon=daemon, as_json=as_json)


def _change(who: str, body: dict[str, Any], apply: bool, daemon: Reach, as_json: bool) -> None:
    async def edit(client: ApiClient) -> Any:
        if "like" in body:
            body["copy_of"] = await serial_of(client, body.pop("like"))
        return await client.change(f"/people/{await serial_of(client, who)}", body)

    make_edit(edit, apply=apply, daemon=daemon, as_json=as_json)


@people.command("copy")
@reaching
def copy(
    daemon: Reach,
    like: Annotated[str, typer.Argument(help="Whose rights: a serial, or the holder's name.")],
    who: Person,
    apply: Apply = False,
    as_json: AsJson = False,
) -> None:
    """Give somebody the rights of another, as they are now; later changes of the other are not followed."""
    _change(who, {"like": like}, apply, daemon, as_json)


@people.command("rename")
@reaching
def rename(
    daemon: Reach,
    who: Annotated[str, typer.Argument(help="A serial of theirs, or the name so far.")],
    name: Annotated[str, typer.Argument(help="The new name.")],
    apply: Apply = False,
    as_json: AsJson = False,
) -> None:
    """Give a person another name, on all of their transmitters."""

    async def edit(client: ApiClient) -> Any:
        serial = await _any_serial(client, who)
        return await client.change(f"/people/{serial}", {"holder": name, "everywhere": True})

    make_edit(edit, apply=apply, daemon=daemon, as_json=as_json)


@people.command("hand-over")
@reaching
def hand_over(
    daemon: Reach,
    serial: WholeSerial,
    name: Annotated[str, typer.Argument(help="Who carries it from now on.")],
    apply: Apply = False,
    as_json: AsJson = False,
) -> None:
    """Give one transmitter to somebody else; the rights stay as they are."""
    _change(serial, {"holder": name}, apply, daemon, as_json)


@people.command("move")
@reaching
def move(
    daemon: Reach,
    who: Person,
    group: Annotated[str, typer.Argument(help="The group to join.")],
    apply: Apply = False,
    as_json: AsJson = False,
) -> None:
    """Move somebody to another group; rights of their own end."""
    _change(who, {"group": group}, apply, daemon, as_json)


@people.command("rights")
@reaching
def rights(
    daemon: Reach,
    who: Person,
    right: Annotated[list[str], typer.Argument(help="position:receiver/output, such as 1:slip-gate/gate.")],
    apply: Apply = False,
    as_json: AsJson = False,
) -> None:
    """Give somebody rights of their own in place of all others; they leave their group."""
    _change(who, {"rights": checked(right)}, apply, daemon, as_json)


@people.command("kind")
@reaching
def change_kind(
    daemon: Reach,
    who: Person,
    kind: Annotated[str, typer.Argument(help="The kind of transmitter, such as two-button; “any” for any.")],
    apply: Apply = False,
    as_json: AsJson = False,
) -> None:
    """Say what kind of transmitter it is; rights beyond its positions are left out."""
    _change(who, {"kind": kind}, apply, daemon, as_json)


@people.command("sites")
@reaching
def change_sites(
    daemon: Reach,
    who: Person,
    site: Annotated[list[str], typer.Argument(help="The sites at which it works; “all” for every site.")],
    apply: Apply = False,
    as_json: AsJson = False,
) -> None:
    """Say at which sites a transmitter works."""
    _change(who, {"sites": [] if site == ["all"] else site}, apply, daemon, as_json)


@people.command("begin")
@reaching
def begin(
    daemon: Reach,
    who: Person,
    since: Annotated[str, typer.Argument(help="The first day or time; “now” takes it away.")],
    apply: Apply = False,
    as_json: AsJson = False,
) -> None:
    """Begin somebody's rights on a date."""
    _change(who, {"valid_from": "" if since == "now" else since}, apply, daemon, as_json)


@people.command("end")
@reaching
def end(
    daemon: Reach,
    who: Person,
    until: Annotated[str, typer.Argument(help="The last day, which still counts, or a time; “never” takes it away.")],
    apply: Apply = False,
    as_json: AsJson = False,
) -> None:
    """End somebody's rights on a date. While the gateway is off, an ended transmitter still works."""
    _change(who, {"valid_until": "" if until == "never" else until}, apply, daemon, as_json)


@people.command("note")
@reaching
def note(
    daemon: Reach,
    who: Person,
    text: Annotated[str, typer.Argument(help="The note; an empty one takes it away.")],
    as_json: AsJson = False,
) -> None:
    """Write a note beside a transmitter."""
    _change(who, {"note": text}, False, daemon, as_json)


@people.command("remove")
@reaching
def remove(
    daemon: Reach,
    who: Person,
    apply: Apply = False,
    as_json: AsJson = False,
) -> None:
    """Take a transmitter out of the roster. One that is lost is better revoked: gatepost revoke."""

    async def edit(client: ApiClient) -> Any:
        return await client.change(f"/people/{await serial_of(client, who)}", None, method="DELETE")

    make_edit(edit, apply=apply, daemon=daemon, as_json=as_json)


async def _any_serial(client: ApiClient, who: str) -> str:
    """A serial of the person, also where they have several."""
    if not (who.isascii() and who.isdigit()):
        for person in await client.get_all("/people", "people", q=who):
            if person["holder"].casefold() == who.casefold():
                return str(person["id"])
    return await serial_of(client, who)
