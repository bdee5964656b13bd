"""How an edit of people ends: what it changed, and bringing it to the receivers at once where that is asked for."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Annotated, Any

import typer
from rich.progress import Progress

from gateway.cli.client import ApiClient
from gateway.cli.console import REFUSED, console, exit_code, local_time, print_json, tell_aside, tell_error
from gateway.cli.reaching import Reach
from gateway.cli.rosters import apply_plan
from gateway.cli.words import result_sentence
from gateway.errors import GatepostError

__all__ = ["Apply", "make_edit"]

Apply = Annotated[bool, typer.Option("--apply", help="Bring it to the receivers at once.")]


def make_edit(
    edit: Callable[[ApiClient], Awaitable[Any]],
    *,
    apply: bool,
    daemon: Reach,
    as_json: bool,
) -> None:
    """Make an edit, say what it changed, and apply it where asked to; the exit code says whether all went well."""

    async def work(client: ApiClient) -> tuple[Any, list[Any], str | None]:
        outcome = await edit(client)
        if apply:
            return outcome, await _apply(client) if outcome["in_force"] else [], None
        return outcome, [], (await client.get("/roster"))["next_run"] if outcome["in_force"] else None

    outcome, plans, next_run = daemon.ask(work)
    if as_json:
        print_json(outcome | {"plans": [plan for plan in plans if isinstance(plan, dict)]})
    else:
        _tell(outcome, applied=apply, next_run=next_run)
    failed = [plan for plan in plans if isinstance(plan, GatepostError)]
    for plan in plans:
        if isinstance(plan, GatepostError):
            tell_error(plan)
        elif not as_json:
            console.print(result_sentence(plan), markup=False)
    if failed:
        raise typer.Exit(exit_code(failed[0]))
    if outcome["problem"] or any(isinstance(plan, dict) and plan["state"] == "held" for plan in plans):
        raise typer.Exit(REFUSED)


def _tell(outcome: Any, *, applied: bool, next_run: str | None) -> None:
    for warning in outcome["warnings"]:
        tell_aside(f"Note: {warning['file']}, row {warning['row']}: {warning['found']}; {warning['remedy']}")
    for words in outcome["words"]:
        console.print(words, markup=False)
    if outcome["revision"] is None:
        console.print("Nothing was to change.")
        return
    console.print(f"Kept as revision {outcome['revision']['number']}.")
    if outcome["problem"]:
        console.print(f"It is not in force: {outcome['problem']}", markup=False)
    elif not applied:
        ahead = f" at the next run of the timetable, {local_time(next_run)}, or now" if next_run else ""
        console.print(f"The receivers follow{ahead} with: gatepost roster apply")


async def _apply(client: ApiClient) -> list[dict[str, Any] | GatepostError]:
    ended: list[dict[str, Any] | GatepostError] = []
    with Progress(disable=True) as bars:
        for receiver in (await client.get("/receivers"))["receivers"]:
            if "slots" in receiver["capabilities"]:
                try:
                    ended.append(await apply_plan(client, receiver["id"], False, bars))
                except GatepostError as error:
                    ended.append(error)
    return ended
