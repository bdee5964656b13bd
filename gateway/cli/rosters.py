"""`roster check | preview | apply`: the central file, and what it would do and does."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Annotated, Any
from zoneinfo import ZoneInfo

import typer
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from gateway.cli.client import DEFAULT_SOCKET, ApiClient
from gateway.cli.console import REFUSED, AsJson, SocketOption, TokenFile, Url, ask, console, fail, print_json
from gateway.cli.words import plan_sentence
from gateway.errors import GatepostError
from gateway.roster.checking import check_document, check_files

__all__ = ["apply_plan", "follow_plan", "rosters"]

rosters = typer.Typer(
    help="The roster: check it, see what it would change, bring it to the receivers.", no_args_is_help=True
)
_OneReceiver = Annotated[list[str] | None, typer.Option("--receiver", help="Only this receiver; may be repeated.")]
_SHOWN = 40


@rosters.command("check")
def check(
    file: Annotated[Path, typer.Argument(help="The roster file.")],
    groups: Annotated[Path | None, typer.Option("--groups", help="The group file.")] = None,
    zone: Annotated[str, typer.Option("--time-zone", help="The site's time zone, for times in the file.")] = "UTC",
    as_json: AsJson = False,
) -> None:
    """Check a roster file as a whole. Needs no daemon, changes nothing."""
    try:
        found = check_files(file, groups, ZoneInfo(zone))
    except GatepostError as error:
        fail(error)
    document = check_document(found)
    if as_json:
        print_json(document)
    else:
        for fault in found.faults:
            console.print(_fault_sentence(fault.file, fault.row, fault.column, fault.found, fault.remedy), markup=False)
        for warning in found.warnings:
            words = _fault_sentence(warning.file, warning.row, warning.column, warning.found, warning.remedy)
            console.print(f"Note: {words}", markup=False)
        if found.faults:
            console.print(f"{len(found.faults)} faults. This file would be refused as a whole.")
        else:
            console.print(f"Good: {found.transmitters} transmitters of {found.holders} holders.")
    if found.faults:
        raise typer.Exit(REFUSED)


def _fault_sentence(file: str, row: int, column: str, found: str, remedy: str) -> str:
    place = f"{file}, row {row}" if row else file
    return f"{place}{f', {column}' if column else ''}: {found}. {remedy}"


async def _receivers(client: ApiClient, wanted: list[str] | None) -> list[str]:
    listed = (await client.get("/receivers"))["receivers"]
    return wanted or [entry["id"] for entry in listed if "slots" in entry["capabilities"]]


async def _fetch(client: ApiClient) -> None:
    state = await client.send("POST", "/roster/fetches")
    for fault in state["faults"] or ():
        console.print(_fault_sentence(**fault), markup=False)
    if state["problem"]:
        raise GatepostError(state["problem"], remedy=state["remedy"])


@rosters.command("preview")
def preview(
    receiver: _OneReceiver = None,
    url: Url = None,
    token_file: TokenFile = None,
    socket: SocketOption = DEFAULT_SOCKET,
    as_json: AsJson = False,
) -> None:
    """Fetch the roster and say, in words, what it would change. Nothing is written."""

    async def work(client: ApiClient) -> list[Any]:
        await _fetch(client)
        names = await _receivers(client, receiver)
        return [await client.send("POST", "/plans", {"receiver": name, "preview": True}) for name in names]

    plans = ask(work, url=url, token_file=token_file, socket=socket)
    if as_json:
        print_json(plans)
        return
    for plan in plans:
        print_plan(plan)


def print_plan(plan: dict[str, Any], shown: int = _SHOWN) -> None:
    """A plan for people: the sum, then each change, then what it leaves out."""
    console.print(plan_sentence(plan), markup=False)
    for change in plan["changes"][:shown]:
        console.print(f"  {change['words'] or change['kind'] + ' slot ' + str(change['slot'])}", markup=False)
    if len(plan["changes"]) > shown:
        console.print(f"  and {len(plan['changes']) - shown} more")
    for words in plan["left_out"] or ():
        console.print(f"  not done: {words}", markup=False)


@rosters.command("apply")
def apply(
    receiver: _OneReceiver = None,
    approve: Annotated[bool, typer.Option("--approve", help="Approve removals that are held for approval.")] = False,
    url: Url = None,
    token_file: TokenFile = None,
    socket: SocketOption = DEFAULT_SOCKET,
    as_json: AsJson = False,
) -> None:
    """Fetch the roster, write what differs, read it back and prove it."""

    async def work(client: ApiClient) -> list[Any]:
        await _fetch(client)
        names = await _receivers(client, receiver)
        with Progress(
            TextColumn("{task.fields[receiver]:<14}"), BarColumn(), TextColumn("{task.completed}/{task.total}"),
            TextColumn("{task.description}"), TimeElapsedColumn(), console=console, disable=as_json, transient=True,
        ) as bars:  # fmt: skip
            return list(await asyncio.gather(*(apply_plan(client, name, approve, bars) for name in names)))

    plans = ask(work, url=url, token_file=token_file, socket=socket)
    if as_json:
        print_json(plans)
    for plan in [] if as_json else plans:
        console.print(plan_sentence(plan), markup=False)
        console.print(f"  {plan['outcome'] or plan['state']}", markup=False)
    if any(plan["state"] != "applied" for plan in plans):
        raise typer.Exit(REFUSED)


async def apply_plan(client: ApiClient, receiver: str, approve: bool, bars: Progress) -> dict[str, Any]:
    """Start a plan, approve it when asked to, and follow it to its end with a bar."""
    plan: dict[str, Any] = await client.send("POST", "/plans", {"receiver": receiver})
    plan = await follow_plan(client, plan, bars)
    if plan["state"] == "held" and approve:
        plan = await client.send("POST", f"/plans/{plan['id']}/application")
        plan = await follow_plan(client, plan, bars)
    return plan


async def follow_plan(client: ApiClient, plan: dict[str, Any], bars: Progress) -> dict[str, Any]:
    """Wait for a plan's end, with a bar while it is written."""
    total = plan["added"] + plan["changed"] + plan["removed"]
    bar = bars.add_task("", total=total, receiver=plan["receiver"])
    state = plan["state"]
    while state in ("pending", "applying"):
        await asyncio.sleep(0.2)
        going = await client.get(f"/plans/{plan['id']}/application")
        state = going["state"]
        bars.update(bar, completed=going["done"], total=going["total"] or total, description=going["words"])
    plan = await client.get(f"/plans/{plan['id']}")
    bars.update(bar, completed=total if plan["state"] == "applied" else plan["done"], description=plan["state"])
    return plan
