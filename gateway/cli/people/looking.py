"""`people list | show`: who works what where, for any source of the roster."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

import typer

from gateway.cli.client import ApiClient
from gateway.cli.console import AsJson, console, print_json
from gateway.cli.people.finding import serial_of
from gateway.cli.reaching import Reach, reaching
from gateway.domain.person import PeopleOrder

__all__ = ["list_people", "print_card", "show"]


@reaching
def list_people(
    daemon: Reach,
    text: Annotated[str, typer.Argument(help="Words of a name, or digits of a serial; all people without.")] = "",
    group: Annotated[str | None, typer.Option("--group", help="Only this group.")] = None,
    standing: Annotated[
        str | None, typer.Option("--standing", help="Only those who stand so: works, pending, ended, revoked, ...")
    ] = None,
    unnamed: Annotated[bool, typer.Option("--unnamed", help="Only whom nobody has named, last heard first.")] = False,
    order: Annotated[
        PeopleOrder, typer.Option("--order", help="By name, by serial, the last heard first, or who ends first.")
    ] = PeopleOrder.HOLDER,
    as_json: AsJson = False,
) -> None:
    """List people, with how each transmitter stands and when it was last heard."""
    query: dict[str, str | int] = {"q": text, "limit": 500, "sort": order.value}
    if group:
        query["group"] = group
    if standing:
        query["standing"] = standing
    if unnamed:
        query |= {"unnamed": "true", "sort": "heard"}

    async def work(client: ApiClient) -> Any:
        return await client.get_all("/people", "people", **query)

    found = daemon.ask(work)
    if as_json:
        print_json(found)
        return
    for person in found:
        for card in person["transmitters"]:
            console.print(_line(card), markup=False)
    if not found:
        console.print("Nobody fits.")


@reaching
def show(
    daemon: Reach,
    who: Annotated[str, typer.Argument(help="A serial, or the holder's name.")],
    as_json: AsJson = False,
) -> None:
    """Show one person's card: what each position works where, since when, until when, and the last press."""

    async def work(client: ApiClient) -> Any:
        if not who.isdigit():
            listed = await client.get_all("/people", "people", q=who)
            fitting = [person for person in listed if person["holder"].casefold() == who.casefold()]
            if fitting:
                return fitting[0]
        return await client.get(f"/people/{await serial_of(client, who)}")

    person = daemon.ask(work)
    if as_json:
        print_json(person)
        return
    console.print(person["holder"] or "Nobody's name is known.", markup=False)
    for card in person["transmitters"]:
        print_card(card)


def print_card(card: Mapping[str, Any]) -> None:
    """One transmitter, in sentences."""
    kind = "" if card["kind"] == "any" else f"{card['kind']} "
    group = f", group {card['group']}" if card["group"] else ""
    console.print(f"  {kind}transmitter {card['serial']}{group}: {card['sentence']}", markup=False)
    for place in card["places"]:
        since = f" Since {place['since'][:10]}." if place["since"] else ""
        console.print(f"    {place['sentence']}{since}", markup=False)
    heard = card["last_heard"]
    console.print(f"    {heard['sentence'] if heard else 'No press of it is kept.'}", markup=False)
    if card["note"]:
        console.print(f"    Note: {card['note']}", markup=False)


def _line(card: Mapping[str, Any]) -> str:
    heard = f" {card['last_heard']['sentence']}" if card["last_heard"] else ""
    group = f" ({card['group']})" if card["group"] else ""
    return f"{card['serial']}  {card['holder'] or 'no name'}{group}: {card['sentence']}{heard}"
