"""Whom a command means: a serial, or a holder's name where that says it."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from gateway.cli.client import ApiClient
from gateway.cli.serials import full_serial
from gateway.errors import NotFound, Refused

__all__ = ["Person", "WholeSerial", "serial_of"]

Person = Annotated[str, typer.Argument(help="A serial, or the holder's name when it has one transmitter.")]
WholeSerial = Annotated[str, typer.Argument(help="The digits printed on the transmitter.")]


async def serial_of(client: ApiClient, text: str) -> str:
    """The serial behind what was typed. Raises NotFound, Refused when several fit."""
    if text.isascii() and text.isdigit():
        return full_serial(text)
    found = await client.get_all("/people", "people", q=text)
    fitting = [person for person in found if person["holder"].casefold() == " ".join(text.split()).casefold()]
    cards: list[dict[str, Any]] = [card for person in fitting for card in person["transmitters"]]
    if not cards:
        raise NotFound(f"Nobody here is called “{text}”.", remedy="Look with: gatepost people list")
    if len(cards) > 1:
        serials = ", ".join(card["serial"] for card in cards)
        raise Refused(f"{text} has {len(cards)} transmitters: {serials}.", remedy="Give the serial of the one meant.")
    return str(cards[0]["serial"])
