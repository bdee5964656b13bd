"""How an edit of people ends: what it changed, and bringing it to the receivers at once where that is asked for."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from typing import Annotated, Any

import typer

from gateway.cli.client import ApiClient
from gateway.cli.console import REFUSED, console, exit_code, local_time, print_json, tell_aside, tell_error
from gateway.cli.reaching import Reach
from gateway.cli.rosters import Failed, bring, fault_sentence
from gateway.cli.words import result_sentence

__all__ = ["Apply", "make_edit"]

_SHOWN = 40
Apply = Annotated[bool, typer.Option("--apply", help="Bring it to the receivers at once.")]


def make_edit(
    edit: Callable[[ApiClient], Awaitable[Any]],
    *,
    apply: bool,
    daemon: Reach,
    as_json: bool,
    preview: bool = False,
) -> None:
    """Make an edit, say what it changed, and apply it where asked to; the exit code says whether all went well.

    With `preview` the edit is one that only looks.
    """

    async def work(client: ApiClient) -> tuple[Any, list[dict[str, Any] | Failed], str | None]:
        outcome = await edit(client)
        if apply:
            return outcome, await _bring(client, quiet=as_json) if outcome["in_force"] else [], None
        return outcome, [], (await client.get("/roster"))["next_run"] if outcome["in_force"] else None

    outcome, plans, next_run = daemon.ask(work)
    brought = [plan for plan in plans if not isinstance(plan, Failed)]
    failed = [plan for plan in plans if isinstance(plan, Failed)]
    if as_json:
        print_json(outcome | {"plans": brought})
    else:
        _tell(outcome, applied=apply, next_run=next_run, preview=preview)
        for plan in brought:
            console.print(result_sentence(plan), markup=False)
    for each in failed:
        tell_error(each.error, each.receiver)
    if failed:
        raise typer.Exit(exit_code(failed[0].error))
    if outcome["problem"] or any(plan["state"] == "held" for plan in brought):
        raise typer.Exit(REFUSED)


def _tell(outcome: Any, *, applied: bool, next_run: str | None, preview: bool) -> None:
    for warning in outcome["warnings"][:_SHOWN]:
        tell_aside(f"Note: {fault_sentence(**warning)}")
    if len(outcome["warnings"]) > _SHOWN:
        tell_aside(f"and {len(outcome['warnings']) - _SHOWN} notes more; --json shows them")
    for words in outcome["words"][:_SHOWN]:
        console.print(words, markup=False)
    if len(outcome["words"]) > _SHOWN:
        console.print(f"and {len(outcome['words']) - _SHOWN} changes more; --json shows them")
    if preview:
        console.print("Nothing was kept: this was a look." if outcome["words"] else "Nobody's access would change.")
        return
    if outcome["revision"] is None:
        console.print("Nothing was to change.")
        return
    console.print(f"Kept as revision {outcome['revision']['number']}.")
    if outcome["problem"]:
        console.print(f"It is not in force: {outcome['problem']}", markup=False)
    elif not applied:
        ahead = f" at the next run of the timetable, {local_time(next_run)}, or now" if next_run else ""
        console.print(f"The receivers follow{ahead} with: gatepost roster apply")


async def _bring(client: ApiClient, *, quiet: bool) -> list[dict[str, Any] | Failed]:
    """To every receiver that keeps transmitters."""
    receivers = (await client.get("/receivers"))["receivers"]
    names = [receiver["id"] for receiver in receivers if "slots" in receiver["capabilities"]]
    return await bring(client, names, approve=False, quiet=quiet)
