"""`plan list | show | approve | refuse`: what was and is to be written, and what waits for a word."""

from __future__ import annotations

from typing import Annotated, Any

import typer
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from gateway.cli.client import ApiClient, part
from gateway.cli.console import (
    REFUSED,
    AsJson,
    console,
    local_time,
    print_json,
)
from gateway.cli.reaching import Reach, reaching
from gateway.cli.rosters import follow_plan, print_plan
from gateway.cli.words import result_sentence

__all__ = ["plans"]

plans = typer.Typer(
    help="Pending changes and those that were made: what was written, what waits for approval.", no_args_is_help=True
)
_Plan = Annotated[str, typer.Argument(help="Its id, as `gatepost plan list` shows it.")]
_ALL = 1_000_000


@plans.command("list")
@reaching
def list_(
    daemon: Reach,
    receiver: Annotated[str | None, typer.Option("--receiver", help="Only of this receiver.")] = None,
    held: Annotated[bool, typer.Option("--held", help="Only those that wait for approval.")] = False,
    limit: Annotated[int, typer.Option("--limit", min=1, max=500, help="How many at most, newest first.")] = 30,
    as_json: AsJson = False,
) -> None:
    """List changes, pending and made, and how they ended; newest first."""
    query: dict[str, str | int] = {"receiver": receiver} if receiver else {}

    async def work(client: ApiClient) -> list[dict[str, Any]]:
        found = await listed(client)
        if receiver and not found:
            await client.get(f"/receivers/{part(receiver)}")  # none of that name is another matter than none yet
        return found

    async def listed(client: ApiClient) -> list[dict[str, Any]]:
        if held:
            every = await client.get_all("/plans", "plans", limit=500, **query)
            return [plan for plan in every if plan["state"] == "held"]
        found: list[dict[str, Any]] = (await client.get("/plans", limit=limit, **query))["plans"]
        return found

    found = daemon.ask(work)
    if as_json:
        print_json(found)
        return
    if not found:
        there = f" of {receiver}" if receiver else ""
        console.print(
            f"Nothing{there} waits for approval." if held else f"No changes{there} yet, made or pending.", markup=False
        )
    for plan in found:
        console.print(_row_sentence(plan), markup=False)


def _row_sentence(plan: dict[str, Any]) -> str:
    """One plan in one line; how it ended says the numbers itself."""
    numbers = f"{plan['added']} added, {plan['changed']} changed, {plan['removed']} removed"
    if plan["state"] == "applied" and plan["outcome"]:
        words = plan["outcome"].removeprefix("Nothing to write: ")
    else:
        end = plan["hold"] if plan["state"] == "held" else plan["outcome"]
        words = f"{numbers}; {end}" if end else numbers
    return f"{plan['id']}  {local_time(plan['created'])}  {plan['receiver']}  {plan['state']}: {words}"


@plans.command("show")
@reaching
def show(
    daemon: Reach,
    plan: _Plan,
    as_json: AsJson = False,
) -> None:
    """Show changes one by one in words, who gains and who loses, and how they ended."""
    found = daemon.ask(lambda client: client.get(f"/plans/{part(plan)}"))
    if as_json:
        print_json(found)
        return
    print_plan(found, shown=_ALL)
    console.print(f"  {found['state']}{': ' + found['outcome'] if found['outcome'] else ''}", markup=False)


@plans.command("approve")
@reaching
def approve(
    daemon: Reach,
    plan: _Plan,
    as_json: AsJson = False,
) -> None:
    """Let pending changes go ahead that wait for approval, and follow them to their end."""

    async def work(client: ApiClient) -> dict[str, Any]:
        started = await client.send("POST", f"/plans/{part(plan)}/application")
        with Progress(
            TextColumn("{task.fields[receiver]:<14}"), BarColumn(), TextColumn("{task.completed}/{task.total}"),
            TextColumn("{task.description}"), TimeElapsedColumn(), console=console, transient=True,
            disable=as_json or not console.is_terminal,
        ) as bars:  # fmt: skip
            return await follow_plan(client, started, bars)

    _end(daemon.ask(work), "applied", as_json)


@plans.command("refuse")
@reaching
def refuse(
    daemon: Reach,
    plan: _Plan,
    reason: Annotated[str, typer.Option("--reason", help="Why not; kept with the changes and in the audit.")],
    as_json: AsJson = False,
) -> None:
    """Say no to pending changes that wait for approval. The same roster does not ask for them again by itself."""
    found = daemon.ask(lambda client: client.send("POST", f"/plans/{part(plan)}/refusal", {"reason": reason}))
    _end(found, "refused", as_json)


def _end(plan: dict[str, Any], wanted: str, as_json: bool) -> None:
    if as_json:
        print_json(plan)
    else:
        console.print(result_sentence(plan), markup=False)
    if plan["state"] != wanted:
        raise typer.Exit(REFUSED)
