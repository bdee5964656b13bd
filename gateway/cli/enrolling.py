"""`enrol` and `overrides`: from a transmitter in somebody's hand to a row of the roster, step by step in words."""

from __future__ import annotations

import asyncio
import sys
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from typing import Annotated, Any

import typer
from rich.progress import Progress

from gateway.cli.client import ApiClient, CannotReach, part
from gateway.cli.console import (
    REFUSED,
    AsJson,
    console,
    print_json,
    tell_aside,
)
from gateway.cli.reaching import Reach, reaching
from gateway.cli.rosters import follow_plan
from gateway.cli.serials import full_serial
from gateway.cli.words import result_sentence
from gateway.errors import Refused

__all__ = ["enrol", "overrides"]

_LISTENING = ("listening", "heard")
_LOOK_EVERY_S = 0.2
#: How long a gateway that restarts is waited for. Our choice: a board starts in less.
_AWAY_S = 60.0


@reaching
def enrol(
    daemon: Reach,
    receiver: Annotated[str, typer.Argument(help="The receiver that is to listen.")],
    serial: Annotated[str | None, typer.Option("--serial", help="The serial, typed from the transmitter.")] = None,
    press: Annotated[bool, typer.Option("--press", help="With --serial: one press that must match it.")] = False,
    several: Annotated[bool, typer.Option("--several", help="Several transmitters, one after the other.")] = False,
    holder: Annotated[
        list[str] | None, typer.Option("--holder", help="Who holds it; with --several one for each, in their order.")
    ] = None,
    group: Annotated[str, typer.Option("--group", help="The group of the roster that they join.")] = "",
    like: Annotated[str, typer.Option("--like", help="A holder or a serial whose rights are copied.")] = "",
    rights: Annotated[str, typer.Option("--rights", help="Rights as in a roster: 1:slip-gate/gate.")] = "",
    kind: Annotated[str, typer.Option("--kind", help="The kind of transmitter.")] = "",
    note: Annotated[str, typer.Option("--note", help="A note for the row.")] = "",
    in_force: Annotated[bool, typer.Option("--in-force", help="Let it work at once, until the roster has it.")] = False,
    add: Annotated[bool, typer.Option("--add", help="Put the row into the roster that the gateway keeps.")] = False,
    seconds: Annotated[int, typer.Option("--seconds", min=1, max=60, help="How long to listen at most.")] = 60,
    as_json: AsJson = False,
) -> None:
    """Find out a transmitter's serial by pressing it twice (or typing it), and make its row for the roster.

    Known transmitters go on working while the receiver listens: a press may move the gate.
    """
    way = _way(serial, press, several)
    holders = holder or []
    if holders and sum(map(bool, (group, like, rights))) != 1:
        raise typer.BadParameter("give one of --group, --like and --rights with --holder")
    if (in_force or add) and not holders:
        raise typer.BadParameter("give --holder, and one of --group, --like and --rights")
    asked = {"way": way, "seconds": seconds} | ({"serial": full_serial(serial)} if serial else {})
    rest = {"group": group, "like": like, "rights": rights, "kind": kind, "note": note}

    async def work(client: ApiClient) -> dict[str, Any]:
        say = tell_aside if as_json else _say
        wanted = len(holders) if several and holders else 0
        found = await _listened(client, receiver, asked, wanted, say)
        made: dict[str, Any] = {"enrolment": found, "completion": None}
        if found["state"] != "confirmed" or not holders:
            return made
        transmitters = _transmitters(found, holders, rest)
        body = {"transmitters": transmitters, "in_force": in_force, "add": add}
        path = f"/receivers/{part(receiver)}/enrolments/{found['id']}"
        made["completion"] = await client.send("POST", f"{path}/completion", body)
        made["plans"] = await _followed(client, made["completion"]["brought"])
        made["enrolment"] = await client.get(path)
        return made

    made = daemon.ask(work)
    if as_json:
        print_json(made)
    else:
        _print_made(made)
    if not _went_well(made):
        raise typer.Exit(REFUSED)


def _way(serial: str | None, press: bool, several: bool) -> str:
    if several and (serial or press):
        raise typer.BadParameter("--several goes without --serial and --press")
    if press and not serial:
        raise typer.BadParameter("--press needs the --serial that it is to match")
    if several:
        return "several"
    return "two-presses" if serial is None else ("typed-and-pressed" if press else "typed")


async def _listened(client: ApiClient, receiver: str, asked: dict[str, Any], wanted: int, say: Any) -> dict[str, Any]:
    """Start, say every step as it comes, and return the enrolment at its end. With `wanted` it is finished after so
    many."""
    after = await _newest_event(client)
    found: dict[str, Any] = await client.send("POST", f"/receivers/{part(receiver)}/enrolments", asked)
    path = f"/receivers/{part(receiver)}/enrolments/{found['id']}"
    if found["caution"]:
        say(found["caution"])
        say(f"At most {asked['seconds']} s each time; Ctrl-C ends it.")
    said = ""

    def tell(words: str) -> None:
        nonlocal said
        said = words
        say(words)

    async with _cancelled_with_us(client, path):
        away_s = 0.0
        while True:
            try:
                after = await _say_steps(client, receiver, found["id"], after, tell)
                found = await client.get(path)
                away_s = 0.0
                if found["state"] not in _LISTENING and not await _goes_on(client, path, found):
                    await _say_steps(client, receiver, found["id"], after, tell)
                    if found["words"] != said:  # its last step is seen a moment before its event is durable
                        say(found["words"])
                    return found
                if wanted and len(found["confirmed"]) >= wanted:
                    await client.send("POST", f"{path}/end")
            except CannotReach:  # a gateway that restarts: it says itself what has become of this
                if not away_s:
                    say("The gateway can't be reached just now; waiting for it.")
                if away_s > _AWAY_S:
                    raise
                away_s += _LOOK_EVERY_S
            await asyncio.sleep(_LOOK_EVERY_S)


async def _goes_on(client: ApiClient, path: str, found: dict[str, Any]) -> bool:
    """Whether this was only the end of one window of several."""
    if found["way"] != "several" or found["state"] not in ("confirmed", "conflict"):
        return False
    await asyncio.sleep(2 * _LOOK_EVERY_S)
    return (await client.get(path))["state"] in _LISTENING


async def _newest_event(client: ApiClient) -> str:
    newest = (await client.get("/events", limit=1))["events"]
    return str(newest[0]["id"]) if newest else ""


async def _say_steps(client: ApiClient, receiver: str, enrolment: str, after: str, say: Any) -> str:
    """Say what has been told of this enrolment since; the id of the last event."""
    query = {"name": "enrolment.changed", "receiver": receiver} | ({"after": after} if after else {"limit": 50})
    events = (await client.get("/events", **query))["events"]
    for event in events if after else events[::-1]:
        if event["data"].get("enrolment") == enrolment:
            say(event["data"].get("words") or event["data"]["state"])
        after = event["id"]
    return after


@asynccontextmanager
async def _cancelled_with_us(client: ApiClient, path: str) -> AsyncIterator[None]:
    """Whoever gives up here leaves no receiver listening."""
    try:
        yield
    except asyncio.CancelledError:
        await client.send("DELETE", path)
        raise


def _transmitters(found: dict[str, Any], holders: Sequence[str], rest: dict[str, str]) -> list[dict[str, str]]:
    confirmed = [each["serial"] for each in found["confirmed"]]
    if len(confirmed) != len(holders):
        raise Refused(
            f"{len(confirmed)} transmitters are confirmed ({', '.join(confirmed)}), and {len(holders)} holders named.",
            remedy="Name one --holder for each transmitter, in the order in which they were pressed.",
        )
    return [{"serial": serial, "holder": name, **rest} for serial, name in zip(confirmed, holders, strict=True)]


async def _followed(client: ApiClient, brought: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """The plans at their end."""
    plans = []
    with Progress(disable=True) as bars:
        for each in brought:
            if each["plan"]:
                plans.append(await follow_plan(client, await client.get(f"/plans/{each['plan']}"), bars))
    return plans


def _went_well(made: dict[str, Any]) -> bool:
    completion = made["completion"]
    if completion is None:
        return bool(made["enrolment"]["state"] == "confirmed")
    return (
        not completion["left_out"]
        and all(plan["state"] == "applied" for plan in made["plans"])
        and not any(each["problem"] for each in completion["brought"])
    )


def _print_made(made: dict[str, Any]) -> None:
    completion = made["completion"]
    if completion is None:
        found = made["enrolment"]
        if found["state"] == "failed" and found["remedy"]:
            console.print(found["remedy"], markup=False)
        for each in found["confirmed"] if found["state"] == "confirmed" else ():
            who = f", which {each['holder']} has" if each["holder"] else ""
            console.print(f"The serial is {each['serial']}{who}.", markup=False)
        return
    console.print("In the roster now:" if completion["added"] else "Add to the roster:")
    for line in (completion["header"], *completion["rows"]):
        console.print(f"  {line}", markup=False)
    for plan in made["plans"]:
        console.print(result_sentence(plan), markup=False)
    for each in completion["brought"]:
        if each["problem"]:
            console.print(f"{each['receiver']}: not yet. {each['problem']} {each['remedy']}", markup=False)
    for words in completion["left_out"]:
        console.print(f"  note: {words}", markup=False)
    if completion["overrides"] and not completion["added"]:
        it = ("It works", "it") if len(completion["overrides"]) == 1 else ("They work", "them")
        console.print(f"{it[0]} by a local override until the roster has {it[1]} (gatepost overrides lists all).")


def _say(words: str) -> None:
    console.print(words, markup=False)
    sys.stdout.flush()


@reaching
def overrides(
    daemon: Reach,
    withdraw: Annotated[str | None, typer.Option("--withdraw", help="Take back the override of this serial.")] = None,
    as_json: AsJson = False,
) -> None:
    """List the transmitters that work here before the roster has them, as rows to add; or take one back."""
    if withdraw is not None:
        full = full_serial(withdraw)
        daemon.ask(lambda client: client.send("DELETE", f"/overrides/{full}"))
        if as_json:
            print_json({"withdrawn": full})
        else:
            console.print(f"The override of {full} is taken back. The next run of the roster takes it out:")
            console.print("  gatepost roster apply")
        return

    async def work(client: ApiClient) -> dict[str, Any]:
        header = (await client.get("/overrides", limit=1))["header"]
        return {"header": header, "overrides": await client.get_all("/overrides", "overrides")}

    found = daemon.ask(work)
    if as_json:
        print_json(found)
    elif not found["overrides"]:
        console.print("The roster has every transmitter that works here; there are no overrides.")
    else:
        for line in (found["header"], *(each["row"] for each in found["overrides"])):
            console.print(line, markup=False)
