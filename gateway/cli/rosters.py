"""`roster check | preview | apply`: the central file, and what it would do and does."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import typer
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from gateway.cli.client import ApiClient, CannotReach
from gateway.cli.console import (
    REFUSED,
    AsJson,
    console,
    exit_code,
    fail,
    local_time,
    print_json,
    tell_aside,
    tell_error,
)
from gateway.cli.plan_turns import in_turn
from gateway.cli.reaching import Reach, reaching
from gateway.cli.words import counted, date_change_sentence, plan_sentence, result_sentence
from gateway.clock import SystemClock
from gateway.domain.roster import Fault
from gateway.errors import GatepostError, NotFound, Refused, SettingsFault, SourceRefused, SourceUnreachable
from gateway.ports import RosterCheck

__all__ = ["Failed", "bring", "fault_sentence", "follow_plan", "rosters"]

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
    public_key: Annotated[
        list[str] | None,
        typer.Option(
            "--public-key",
            help="Check the signatures beside the files too: minisign's .pub file, or the key in it; may be repeated.",
        ),
    ] = None,
    encoding: Annotated[
        str | None,
        typer.Option("--encoding", help="Of a CSV that is not UTF-8, such as cp1252: as in the gateway's settings."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Check a roster file as a whole. Needs no daemon, changes nothing."""
    from gateway.roster.checking import check_document, check_files  # noqa: PLC0415 - other commands start without it

    signed = ""
    try:
        _need_files(file, groups)
        found = check_files(file, groups, _zone(zone), fallback_encoding=encoding)
        if public_key:
            found, signed = _with_signatures(found, file, groups, public_key, _zone(zone))
    except SourceRefused as error:
        found = _refused(file, error)
    except SourceUnreachable as error:
        fail(SettingsFault(error.message, remedy=error.remedy))
    except GatepostError as error:
        fail(error)
    document = check_document(found)
    if as_json:
        print_json(document)
    else:
        for fault in found.faults:
            console.print(fault_sentence(fault.file, fault.row, fault.column, fault.found, fault.remedy), markup=False)
        for warning in found.warnings:
            words = fault_sentence(warning.file, warning.row, warning.column, warning.found, warning.remedy)
            console.print(f"Note: {words}", markup=False)
        if found.faults:
            count = "One fault" if len(found.faults) == 1 else f"{len(found.faults)} faults"
            console.print(f"{count}. This file would be refused as a whole.")
        else:
            console.print(f"Good: {counted(found.transmitters, 'transmitter')} of {counted(found.holders, 'holder')}.")
            if signed:
                console.print(signed, markup=False)
    if found.faults:
        raise typer.Exit(REFUSED)


def _need_files(*paths: Path | None) -> None:
    """Raises SettingsFault for a path at which no file is: wrong usage, as at every other command."""
    for path in paths:
        if path is not None and not path.is_file():
            is_there = path.exists()
            raise SettingsFault(
                f"{path} is {'a folder' if path.is_dir() else 'not a file'}."
                if is_there
                else f"There is no file {path}.",
                remedy="Name the file itself." if is_there else "Put it there, or correct the path.",
            )


def _refused(file: Path, error: SourceRefused) -> RosterCheck:
    """A file that can't be read as a roster at all, told as every other fault is."""
    text = error.message.removesuffix(".").removeprefix(f"{file} ")
    remedy = error.remedy[:1].lower() + error.remedy[1:].removesuffix(".")
    return RosterCheck(None, (Fault(file.name, 0, "", text, remedy),), ())


def _with_signatures(
    found: RosterCheck, file: Path, groups: Path | None, keys: list[str], zone: ZoneInfo
) -> tuple[RosterCheck, str]:
    """The check with what is wrong with the signatures, and in words what they state."""
    from gateway.roster.checking_signatures import check_signatures  # noqa: PLC0415 - brings cryptography

    terms = check_signatures(file, groups, keys, zone, SystemClock().now())
    if isinstance(terms, Fault):
        return replace(found, faults=(*found.faults, terms)), ""
    until = f", until {terms.expires.astimezone(zone).isoformat(sep=' ', timespec='minutes')}" if terms.expires else ""
    return found, f"Signed: revision {terms.revision}{until}."


def _zone(name: str) -> ZoneInfo:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        raise typer.BadParameter(f"“{name}” is no time zone; write one like Europe/Berlin") from None


@rosters.command("template")
def template(file: Annotated[Path, typer.Argument(help="The file to write: .xlsx, .ods or .csv.")]) -> None:
    """Write an empty roster that spreadsheets open with the right types of columns. Replaces no file."""
    from gateway.roster.templates import write_template  # noqa: PLC0415 - other commands start without it

    try:
        write_template(file)
    except GatepostError as error:
        fail(error)
    console.print(f"Wrote {file}. Fill it in, then run: gatepost roster check {file}", markup=False)
    if file.suffix.casefold() == ".csv":
        console.print("A CSV has no types of columns: format the serial's column as text, or take .xlsx or .ods.")


def fault_sentence(file: str, row: int, column: str, found: str, remedy: str) -> str:
    place = f"{file}, row {row}" if row else file
    return f"{place}{f', {column}' if column else ''}: {found}; {remedy}"


@dataclass(frozen=True, slots=True)
class Failed:
    """A receiver for which there is no plan, and why. It keeps nobody else from theirs."""

    receiver: str
    error: GatepostError

    def document(self) -> dict[str, Any]:
        """As JSON, in the place of its plan."""
        problem = {"code": self.error.code, "message": self.error.message, "remedy": self.error.remedy}
        return {"receiver": self.receiver, "state": "failed", "problem": problem}


_Found = dict[str, Any] | Failed


async def _receivers(client: ApiClient, wanted: list[str] | None) -> list[str]:
    listed = (await client.get("/receivers"))["receivers"]
    known = [entry["id"] for entry in listed]
    strangers = [name for name in wanted or () if name not in known]
    if strangers:
        raise NotFound(f"There is no receiver {strangers[0]}.", remedy=f"The settings name: {', '.join(known)}.")
    names = wanted or [entry["id"] for entry in listed if "slots" in entry["capabilities"]]
    if not names:
        raise Refused("No receiver here keeps transmitters.", remedy="Their maps have no slots; a roster needs them.")
    return names


async def _fetch(client: ApiClient) -> dict[str, Any]:
    state: dict[str, Any] = await client.send("POST", "/roster/fetches")
    for fault in state["faults"] or ():
        tell_aside(fault_sentence(**fault))
    if state["problem"]:
        kind = SourceUnreachable if state["unreachable"] else SourceRefused
        raise kind(state["problem"], remedy=state["remedy"])
    return state


async def _of_each(names: list[str], work: Callable[[str], Awaitable[list[dict[str, Any]]]]) -> list[_Found]:
    """What `work` finds for every receiver at once; one that fails delays nobody."""

    async def one(name: str) -> list[_Found]:
        try:
            return [*await work(name)]
        except CannotReach:
            raise
        except GatepostError as error:
            return [Failed(name, error)]

    return [each for found in await asyncio.gather(*map(one, names)) for each in found]


def _end(found: list[_Found], refused: bool = False) -> None:
    """Say what failed, and end with the exit code of the first of it."""
    failed = [each for each in found if isinstance(each, Failed)]
    for each in failed:
        tell_error(each.error, each.receiver)
    if failed:
        raise typer.Exit(exit_code(failed[0].error))
    if refused:
        raise typer.Exit(REFUSED)


def _documents(found: list[_Found]) -> list[dict[str, Any]]:
    return [each.document() if isinstance(each, Failed) else each for each in found]


@rosters.command("preview")
@reaching
def preview(
    daemon: Reach,
    receiver: _OneReceiver = None,
    as_json: AsJson = False,
) -> None:
    """Fetch the roster and say, in words, what it would change. Nothing is written."""

    async def work(client: ApiClient) -> tuple[list[_Found], dict[str, Any]]:
        state = await _fetch(client)
        names = await _receivers(client, receiver)
        return await _of_each(names, lambda name: _preview_of(client, name)), state

    found, state = daemon.ask(work)
    if as_json:
        print_json(_documents(found))
    elif change := state["next_change"]:
        console.print(date_change_sentence(change, local_time(change["time"])))
    for plan in [] if as_json else found:
        if not isinstance(plan, Failed):
            print_plan(plan)
    _end(found)


async def _preview_of(client: ApiClient, receiver: str) -> list[dict[str, Any]]:
    return [await client.send("POST", "/plans", {"receiver": receiver, "preview": True})]


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
@reaching
def apply(
    daemon: Reach,
    receiver: _OneReceiver = None,
    approve: Annotated[bool, typer.Option("--approve", help="Approve removals that are held for approval.")] = False,
    as_json: AsJson = False,
) -> None:
    """Fetch the roster, write what differs, read it back and prove it."""

    async def work(client: ApiClient) -> list[_Found]:
        await _fetch(client)
        return await bring(client, await _receivers(client, receiver), approve=approve, quiet=as_json)

    found = daemon.ask(work)
    if as_json:
        print_json(_documents(found))
    plans = [plan for plan in found if not isinstance(plan, Failed)]
    for plan in [] if as_json else plans:
        console.print(result_sentence(plan), markup=False)
    _end(found, refused=any(plan["state"] != "applied" and not _is_on_a_sheet(plan) for plan in plans))


async def bring(client: ApiClient, names: list[str], *, approve: bool, quiet: bool) -> list[_Found]:
    """Bring these receivers to the roster in force, all at once, with a bar for each; `quiet` shows none."""
    with Progress(
        TextColumn("{task.fields[receiver]:<14}"), BarColumn(), TextColumn("{task.completed}/{task.total}"),
        TextColumn("{task.description}"), TimeElapsedColumn(), console=console, transient=True,
        disable=quiet or not console.is_terminal,
    ) as bars:  # fmt: skip
        return await _of_each(names, lambda name: _apply_plan(client, name, approve, bars))


def _is_on_a_sheet(plan: dict[str, Any]) -> bool:
    return bool(plan["by_hand"]) and plan["state"] in ("pending", "applying")


async def _apply_plan(client: ApiClient, receiver: str, approve: bool, bars: Progress) -> list[dict[str, Any]]:
    """Start a plan, approve it when asked to, and follow it to its end with a bar.

    Where additions go ahead of what is held for approval, there are two: what was done, and what waits or was approved.
    """
    plan = await _started(client, receiver, bars)
    if plan["by_hand"]:
        return await _onto_the_sheet(client, plan, approve)
    plan = await follow_plan(client, plan, bars)
    if plan["reason"] != "additions" or plan["state"] != "applied":
        return [await _approved(client, plan, bars) if approve else plan]
    rest = await follow_plan(client, await _started(client, receiver, bars), bars)
    return [plan, await _approved(client, rest, bars) if approve else rest]


async def _started(client: ApiClient, receiver: str, bars: Progress) -> dict[str, Any]:
    async def ask() -> Any:
        return await client.send("POST", "/plans", {"receiver": receiver})

    return await in_turn(ask, receiver, bars)


async def _approved(client: ApiClient, plan: dict[str, Any], bars: Progress) -> dict[str, Any]:
    """The plan's end, once it is approved if it is held."""
    if plan["state"] != "held":
        return plan

    async def ask() -> Any:
        return await client.send("POST", f"/plans/{plan['id']}/application")

    return await follow_plan(client, await in_turn(ask, plan["receiver"], bars), bars)


async def _onto_the_sheet(client: ApiClient, plan: dict[str, Any], approve: bool) -> list[dict[str, Any]]:
    """Where no line reaches, a plan is not followed: people carry it out. What waits for approval is let onto it."""
    held = (await client.get(f"/receivers/{plan['receiver']}/visit-sheet"))["held"]
    if held and approve:
        return [await client.send("POST", f"/plans/{held}/application")]
    return [plan, await client.get(f"/plans/{held}")] if held and held != plan["id"] else [plan]


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
