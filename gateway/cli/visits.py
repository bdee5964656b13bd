"""`visit start | end | list | show`: work in progress at a site, a gate or a receiver."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any

import typer

from gateway.cli.client import ApiClient, part
from gateway.cli.console import (
    REFUSED,
    AsJson,
    console,
    fail,
    local_time,
    print_json,
)
from gateway.cli.reaching import Reach, reaching
from gateway.cli.words import counted
from gateway.errors import Refused

__all__ = ["visits"]

visits = typer.Typer(
    help="Work in progress: the roster waits there, alarm reports are tests, and it ends by itself.",
    no_args_is_help=True,
)


@visits.command("start")
@reaching
def start(
    daemon: Reach,
    minutes: Annotated[int, typer.Option("--minutes", help="For how long, 1 to 480.")],
    reason: Annotated[str, typer.Option("--reason", help="Who works there and why.")],
    receiver: Annotated[str | None, typer.Option("--receiver", help="Only this receiver.")] = None,
    gate: Annotated[str | None, typer.Option("--gate", help="Only this gate.")] = None,
    unlock: Annotated[bool, typer.Option("--unlock", help="The board's own buttons may be used meanwhile.")] = False,
    as_json: AsJson = False,
) -> None:
    """Set the whole site, a gate or a receiver to work in progress; it ends by itself."""
    body = {"minutes": minutes, "reason": reason, "unlock": unlock, "receiver": receiver, "gate": gate}
    body = {key: value for key, value in body.items() if value is not None}
    found = daemon.ask(lambda client: client.send("POST", "/visits", body))
    if as_json:
        print_json(found)
    else:
        console.print(
            f"{_place(found)} until {local_time(found['until'])}. End it with: gatepost visit end {found['id']}",
            markup=False,
        )
        for name in found["unlocked"]:
            console.print(f"The buttons of {name} are unlocked until then.", markup=False)
        for name, problem in found["problems"].items():
            console.print(f"{name} could not be unlocked: {problem}", markup=False)
    if found["problems"]:
        raise typer.Exit(REFUSED)


@visits.command("end")
@reaching
def end(
    daemon: Reach,
    visit: Annotated[str | None, typer.Argument(help="Its id; may be left out when one alone is running.")] = None,
    as_json: AsJson = False,
) -> None:
    """End it, lock the buttons again, and say what changed meanwhile."""

    async def work(client: ApiClient) -> Any:
        return await client.send("POST", f"/visits/{part(visit or await _only_one(client))}/end")

    found = daemon.ask(work)
    if as_json:
        print_json(found)
    else:
        _print_end(found)
    if found["unlocked"]:
        raise typer.Exit(REFUSED)


@visits.command("list")
@reaching
def list_(daemon: Reach, as_json: AsJson = False) -> None:
    """Show running and past visits, newest first."""
    found = daemon.ask(lambda client: client.get("/visits"))
    if as_json:
        print_json(found)
        return
    if not found["visits"]:
        console.print("No work is in progress, and none was lately.")
    for each in found["visits"]:
        when = (
            f"until {local_time(each['until'])}" if each["state"] == "running" else f"ended {local_time(each['ended'])}"
        )
        words = f"{each['id']}  {_place(each)} {when}" + (f": {each['reason']}" if each["reason"] else "")
        console.print(f"{words}{_more(each)}", markup=False)


@visits.command("show")
@reaching
def show(daemon: Reach, visit: Annotated[str, typer.Argument(help="Its id.")], as_json: AsJson = False) -> None:
    """Show one visit, and what changed while it lasted, also when it has ended by itself."""
    found = daemon.ask(lambda client: client.get(f"/visits/{part(visit)}"))
    if as_json:
        print_json(found)
    elif found["state"] == "running":
        console.print(f"{_place(found)} until {local_time(found['until'])}: {found['reason']}", markup=False)
        console.print("What changed is listed when it is over.")
    else:
        console.print(f"{_place(found)}: {found['reason']}", markup=False)
        _print_end(found)


async def _only_one(client: ApiClient) -> str:
    running = [each for each in (await client.get("/visits"))["visits"] if each["state"] == "running"]
    if not running:
        remedy = "There is nothing to end; gatepost visit list shows past ones."
        fail(Refused("No work is in progress here.", remedy=remedy, code="visit-not-named"))
    if len(running) != 1:
        ids = ", ".join(each["id"] for each in running)
        fail(
            Refused(
                "Nothing says which visit is meant.", remedy=f"Name one; running are: {ids}.", code="visit-not-named"
            )
        )
    return str(running[0]["id"])


def _place(visit: Mapping[str, Any]) -> str:
    return "Work in progress at " + (f"the {visit['scope']} {visit['name']}" if visit["name"] else "the whole site")


def _more(visit: Mapping[str, Any]) -> str:
    """What there is to see of one that is over."""
    count = len(visit["changes"])
    return f"; {counted(count, 'thing')} changed: gatepost visit show {visit['id']}" if count else ""


def _print_end(visit: Mapping[str, Any]) -> None:
    console.print(f"It is over ({visit['ended_by']}); the roster is brought there again.", markup=False)
    for name in visit["unlocked"]:
        problem = visit["problems"].get(name, "")
        console.print(f"The buttons of {name} are not proven locked yet; it is tried again. {problem}", markup=False)
    for name in visit["unread"]:
        console.print(f"{name} could not be read, so something may be missing in this list.", markup=False)
    if not visit["changes"]:
        console.print("Nothing changed meanwhile.")
    for change in visit["changes"]:
        console.print(f"  {local_time(change['time'])}  {change['receiver']}: {change['sentence']}", markup=False)
