"""`status`: how things stand."""

from __future__ import annotations

from typing import Any

import typer

from gateway.cli.client import ApiClient
from gateway.cli.console import (
    REFUSED,
    UNREACHABLE,
    AsJson,
    console,
    local_time,
    print_json,
)
from gateway.cli.gates import condition_line
from gateway.cli.patience import reading_words
from gateway.cli.reaching import Reach, reaching
from gateway.cli.words import (
    REFUSING_LINKS,
    counted,
    date_change_sentence,
    receiver_sentence,
    wait_sentence,
)

__all__ = ["place_words", "status"]

_PRESSING = ["alarm", "trouble", "notice"]


def place_words(place: str) -> str:
    """Where a roster comes from; one that the gateway keeps itself says so in its own words."""
    return place if place.startswith("kept ") else f"from {place}"


async def _read_status(client: ApiClient) -> dict[str, Any]:
    receivers = (await client.list_receivers())["receivers"]
    return {
        "gateway": await client.get_gateway(),
        "roster": await client.get_roster(),
        "gates": (await client.list_gates())["gates"],
        "conditions": await client.get_all("/conditions", "conditions"),
        "receivers": [{**receiver, "status": await client.get_status(receiver["id"])} for receiver in receivers],
    }


@reaching
def status(daemon: Reach, as_json: AsJson = False) -> None:
    """Say where every gate stands, what needs a person, and how receivers, roster and clock stand."""
    found = daemon.ask(_read_status)
    if as_json:
        print_json(found)
    else:
        for gate in found["gates"]:
            console.print(gate["sentence"], markup=False)
        for condition in sorted(found["conditions"], key=lambda each: _PRESSING.index(each["weight"])):
            console.print(condition_line(condition), markup=False)
        for receiver in found["receivers"]:
            console.print(receiver_sentence(receiver, receiver["status"]), markup=False)
            for words in (
                receiver["problem"],
                receiver["remedy"],
                reading_words({"receivers": [receiver]}),
                wait_sentence(receiver["waiting"]),
            ):
                if words:
                    console.print(f"  {words}", markup=False)
        _print_gateway(found["gateway"], found["roster"])
    links = {receiver["link"] for receiver in found["receivers"]} - {"online", "by-hand"}
    if links - REFUSING_LINKS:
        raise typer.Exit(UNREACHABLE)
    if links or found["roster"]["problem"]:
        raise typer.Exit(REFUSED)


def _print_gateway(gateway: dict[str, Any], roster: dict[str, Any]) -> None:
    accepted = roster["accepted"]
    if roster["transmitters"] is None:
        console.print("No roster is in force.")
    else:
        how_many = counted(roster["transmitters"], "transmitter")
        console.print(f"The roster in force has {how_many}, {place_words(roster['place'])}.", markup=False)
    if accepted:
        console.print(f"It was accepted {local_time(accepted['time'])}.")
    if roster["problem"]:
        console.print(f"{roster['problem']} {roster['remedy']}", markup=False)
    if gateway["next_run"]:
        console.print(f"The next sync is due {local_time(gateway['next_run'])}.")
    if change := roster["next_change"]:
        console.print(date_change_sentence(change, local_time(change["time"])))
    if not gateway["clock"]["trusted"]:
        console.print("The clock is not known to be right; nothing is granted or ended by date until it is.")
    for notice in gateway["notices"]:
        console.print(f"{notice['text']} {notice['remedy']}", markup=False)
