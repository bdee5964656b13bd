"""`snapshot take | list | show | import | compare | restore | approve`: the archive of receivers."""

from __future__ import annotations

import json
from contextlib import suppress
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from gateway.cli.client import ApiClient, ApiProblem, part
from gateway.cli.console import (
    REFUSED,
    AsJson,
    answered,
    console,
    fail,
    local_time,
    print_json,
)
from gateway.cli.reaching import Reach, reaching
from gateway.cli.rosters import follow_plan
from gateway.cli.words import counted, plan_sentence
from gateway.errors import NotFound, Refused, SettingsFault

__all__ = ["snapshots"]

snapshots = typer.Typer(
    help="Snapshots: archive what a receiver holds, compare, bring it back or to another one.", no_args_is_help=True
)
_SHOWN = 40
_Snapshot = Annotated[str, typer.Argument(help="A snapshot's id, or a file that was exported.")]


class As(StrEnum):
    """How a snapshot goes into a receiver that it is not of."""

    REPLACE = "replace"
    MERGE = "merge"


@snapshots.command("take")
@reaching
def take(
    daemon: Reach,
    receiver: Annotated[str, typer.Argument(help="The receiver's name.")],
    as_json: AsJson = False,
) -> None:
    """Archive what a receiver holds now."""
    taken = daemon.ask(lambda client: client.send("POST", f"/receivers/{part(receiver)}/snapshots"))
    if as_json:
        print_json(taken)
    else:
        console.print(
            f"{taken['id']}: {counted(taken['slots'], 'transmitter')} at revision {taken['revision']}.", markup=False
        )


@snapshots.command("list")
@reaching
def list_(
    daemon: Reach,
    receiver: Annotated[str | None, typer.Option("--receiver", help="Only of this receiver.")] = None,
    as_json: AsJson = False,
) -> None:
    """List the snapshots, newest first."""
    query = {"receiver": receiver} if receiver else {}
    found = daemon.ask(lambda client: client.get_all("/snapshots", "snapshots", limit=100, **query))
    if as_json:
        print_json(found)
    elif not found:
        there = f" of {receiver}" if receiver else ""
        console.print(f"There are no snapshots{there}. Take one with: gatepost snapshot take RECEIVER", markup=False)
    for one in [] if as_json else found:
        doubt = "" if one["clock_trusted"] else " (by a clock that was not known to be right)"
        console.print(
            f"{one['id']}  {local_time(one['taken'])}{doubt}  {one['reason']}  "
            f"{'receiver ' + one['serial'] + ', ' if one['serial'] else ''}"
            f"{counted(one['slots'], 'transmitter')}, revision {one['revision']}",
            markup=False,
        )


@snapshots.command("show")
@reaching
def show(
    daemon: Reach,
    snapshot: Annotated[str, typer.Argument(help="The snapshot's id.")],
    out: Annotated[Path | None, typer.Option("--out", help="Write the file there, to keep it elsewhere.")] = None,
    as_json: AsJson = False,
) -> None:
    """Show a snapshot, or export its file. It holds serials and names: treat it as you treat the roster."""
    found = daemon.ask(lambda client: client.get(f"/snapshots/{part(snapshot)}"))
    if out is not None:
        _write(out, found)
        console.print(f"{snapshot} is written to {out}.", markup=False)
    elif as_json:
        print_json(found)
    else:
        _print_snapshot(found)


@snapshots.command("import")
@reaching
def import_(
    daemon: Reach,
    file: Annotated[Path, typer.Argument(help="A snapshot's file from another site.")],
    as_json: AsJson = False,
) -> None:
    """Keep a snapshot's file from elsewhere, once it has been checked."""
    document = _read(file)
    kept = daemon.ask(lambda client: client.send("POST", "/snapshots", document))
    if as_json:
        print_json(kept)
    else:
        console.print(f"Kept as {kept['id']}: {counted(kept['slots'], 'transmitter')}.", markup=False)


@snapshots.command("compare")
@reaching
def compare(
    daemon: Reach,
    left: _Snapshot,
    right: Annotated[
        str | None, typer.Argument(help="Another id or file, or a receiver's name; its own receiver when left out.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Say what differs between two snapshots, or a snapshot and what a receiver holds. Exit code 1 when they differ."""

    async def work(client: ApiClient) -> Any:
        first = await _kept(client, left)
        second = await _kept(client, right) if right else _receiver_of(first)
        return await client.send("POST", "/comparisons", {"left": first, "right": second})

    found = daemon.ask(work)
    if as_json:
        print_json(found)
    else:
        for difference in found["slots"]:
            console.print(f"{difference['kind']}: {difference['words']}", markup=False)
        for words in (*found["settings"], *found["modes"], *found["limits"], *found["notes"]):
            console.print(words, markup=False)
        if found["alike"]:
            console.print(f"{found['left']} and {found['right']} hold the same.", markup=False)
    if not found["alike"]:
        raise typer.Exit(REFUSED)


@snapshots.command("restore")
@reaching
def restore(
    daemon: Reach,
    snapshot: _Snapshot,
    receiver: Annotated[
        str | None, typer.Option("--receiver", help="Which one; the snapshot's own when left out.")
    ] = None,
    way: Annotated[As | None, typer.Option("--as", help="For a snapshot of another receiver.")] = None,
    settings: Annotated[bool, typer.Option("--settings", help="On-times and local programming too.")] = False,
    replacement: Annotated[
        bool,
        typer.Option("--replacement", help="A new receiver stands in the old one's place: take it for the right one."),
    ] = False,
    preview: Annotated[bool, typer.Option("--preview", help="Only say what would be done.")] = False,
    approve: Annotated[bool, typer.Option("--approve", help="Approve removals that would be held.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    as_json: AsJson = False,
) -> None:
    """Bring a receiver to a snapshot: shown first, archived before, read back and proven. The roster then waits."""
    if as_json and not (yes or preview):
        raise typer.BadParameter("--json asks nothing; add --preview or --yes")
    body: dict[str, Any] = {"way": way.value if way else "restore", "settings": settings or replacement}
    if replacement:
        body["replacement"] = ""

    async def look(client: ApiClient) -> tuple[str, dict[str, Any]]:
        body["snapshot"] = await _kept(client, snapshot)
        name = receiver or _receiver_of(body["snapshot"])
        if name.startswith("import."):
            raise Refused(
                f"{snapshot} is from elsewhere, so it says nothing of which receiver here is meant.",
                remedy="Say so, and whether it replaces or is merged into what is there: --receiver NAME --as replace.",
            )
        return name, await client.send("POST", f"/receivers/{name}/restore-previews", body)

    name, found = daemon.ask(look)
    if preview and as_json:
        print_json(found)
    if not as_json:
        _print_preview(found)
    if preview:
        return
    by_hand = found["plan"]["by_hand"]
    question = f"Put this on the visit sheet of {name}?" if by_hand else f"Write this to {name} now?"
    with answered("Nothing was written: nobody answered. Where nobody can, give --yes."):
        if not yes and not typer.confirm(question):
            console.print("Nothing was written.")
            raise typer.Exit(REFUSED)
    if replacement:
        body["replacement"] = found["answers"]["serial"]

    async def write(client: ApiClient) -> dict[str, Any]:
        plan = await client.send("POST", f"/receivers/{name}/restores", body)
        if plan["state"] == "held" and approve:
            plan = await client.send("POST", f"/plans/{plan['id']}/application")
        if by_hand:
            return dict(plan)
        with Progress(
            TextColumn("{task.fields[receiver]:<14}"), BarColumn(), TextColumn("{task.completed}/{task.total}"),
            TextColumn("{task.description}"), TimeElapsedColumn(), console=console, transient=True,
            disable=as_json or not console.is_terminal,
        ) as bars:  # fmt: skip
            return await follow_plan(client, plan, bars)

    plan = daemon.ask(write)
    if as_json:
        print_json(plan)
    else:
        _print_end(name, plan)
    if plan["state"] != "applied" and not (by_hand and plan["state"] == "pending"):
        raise typer.Exit(REFUSED)


@snapshots.command("approve")
@reaching
def approve_wait(
    daemon: Reach,
    receiver: Annotated[str, typer.Argument(help="The receiver at which the roster waits.")],
    roster: Annotated[bool, typer.Option("--roster", help="The roster goes on from its next run.")] = False,
    snapshot: Annotated[
        bool, typer.Option("--snapshot", help="What the receiver holds stays until another roster is accepted.")
    ] = False,
    replacement: Annotated[
        str | None,
        typer.Option(
            "--replacement", metavar="SERIAL", help="Another receiver stands there: this one is right, as it is."
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Say what is right at a receiver that was restored, cleared or replaced: the roster, what it holds, who it is."""
    if roster + snapshot + (replacement is not None) != 1:
        raise typer.BadParameter("choose one of --roster, --snapshot and --replacement SERIAL")
    if replacement is not None:
        _confirm(daemon, receiver, replacement, as_json)
        return
    body = {"approve": "roster" if roster else "snapshot"}

    async def work(client: ApiClient) -> tuple[Any, dict[str, Any] | None]:
        found = await client.send("POST", f"/receivers/{part(receiver)}/approvals", body)
        if roster and not as_json:
            with suppress(ApiProblem):  # without a roster there is nothing to foresee
                return found, await client.send("POST", "/plans", {"receiver": receiver, "preview": True})
        return found, None

    found, ahead = daemon.ask(work)
    if as_json:
        print_json(found)
    elif roster:
        console.print(f"The roster goes on at {receiver} from its next run.", markup=False)
        if ahead is not None:
            console.print(f"It would do this: {plan_sentence(ahead)}", markup=False)
            console.print(f"One by one: gatepost roster preview --receiver {receiver}", markup=False)
    else:
        console.print(f"What {receiver} holds stays until another roster is accepted.", markup=False)


def _confirm(daemon: Reach, receiver: str, serial: str, as_json: bool) -> None:
    found = daemon.ask(
        lambda client: client.send("POST", f"/receivers/{part(receiver)}/confirmation", {"serial": serial})
    )
    if as_json:
        print_json(found)
    else:
        console.print(
            f"{serial} is the right one at {receiver} from now on. It is read; the roster comes with its next run.",
            markup=False,
        )


# --- files ---


async def _kept(client: ApiClient, name: str) -> str:
    """The id behind what was named; a file is handed in first, unless it is one that is kept here already."""
    if not (name.endswith(".json") or "/" in name):
        return name
    document = _read(Path(name))
    own = document.get("id") if isinstance(document, dict) else None
    if isinstance(own, str):
        with suppress(ApiProblem, NotFound):
            if await client.get(f"/snapshots/{part(own)}") == document:
                return own
    return str((await client.send("POST", "/snapshots", document))["id"])


def _receiver_of(snapshot_id: str) -> str:
    parts = snapshot_id.split("-", 2)
    if len(parts) < 3:
        fail(Refused(f"{snapshot_id} is no snapshot's id.", remedy="`gatepost snapshot list` shows the ids."))
    return parts[2]


def _read(path: Path) -> Any:
    try:
        return json.loads(path.read_text("utf-8-sig"))
    except OSError as fault:
        fail(SettingsFault(f"{path} can't be read: {fault.strerror}.", remedy="Check its path and rights."))
    except (ValueError, RecursionError):
        fail(Refused(f"{path} is no JSON file.", remedy="Name a file that `snapshot show ID --out FILE` wrote."))


def _write(path: Path, document: Any) -> None:
    try:
        path.write_text(json.dumps(document, indent=1, ensure_ascii=True) + "\n", "utf-8")
        path.chmod(0o600)
    except OSError as fault:
        fail(SettingsFault(f"{path} can't be written: {fault.strerror}.", remedy="Choose another path."))


# --- words ---


def _print_snapshot(found: dict[str, Any]) -> None:
    identity, limits = found["identity"], found["limits"]
    console.print(
        f"{found['receiver']}, taken {local_time(found['taken'])} ({found['reason']}): receiver {identity['serial']}, "
        f"{identity['maker']} {identity['product']} {identity['version']}, revision {found['revision']}.",
        markup=False,
    )
    for number, seconds in enumerate((found["settings"] or {}).get("on_times_s", ()), 1):
        mode = found["output_modes"][number - 1] if found["output_modes"] else "mode not known"
        console.print(f"output {number}: {mode}, stays closed for {seconds} s", markup=False)
    console.print(f"{len(found['slots'])} of {limits['slots']} slots:", markup=False)
    for slot in found["slots"]:
        rights = "; ".join(
            f"position {place} works output {', '.join(map(str, outputs))}"
            for place, outputs in enumerate(slot["outputs"], 1)
            if outputs
        )
        console.print(f"  slot {slot['number']}: {slot['serial']} {slot['name']}: {rights}", markup=False)


def _print_preview(found: dict[str, Any]) -> None:
    plan, answers = found["plan"], found["answers"]
    if found["unconfirmed"]:
        console.print(f"The new receiver {answers['serial']} will be taken for the right one.", markup=False)
    for words in found["board"]:
        console.print(f"First: {words}", markup=False)
    for words in found["notes"]:
        console.print(f"Note: {words}", markup=False)
    console.print(_sum(plan), markup=False)
    for change in plan["changes"][:_SHOWN]:
        console.print(f"  {change['words']}", markup=False)
    if len(plan["changes"]) > _SHOWN:
        console.print(f"  and {len(plan['changes']) - _SHOWN} more")
    for words in found["settings"]:
        console.print(f"  {words}", markup=False)
    for words in plan["left_out"] or ():
        console.print(f"  {words}" if words.startswith("Conflict: ") else f"  left out: {words}", markup=False)
    if plan["hold"]:
        console.print(f"This would be held: {plan['hold']} Add --approve to let it go ahead.", markup=False)


def _sum(plan: dict[str, Any]) -> str:
    if not plan["changes"]:
        return f"{plan['receiver']} holds all of these transmitters already."
    how = "to be done by hand" if plan["by_hand"] else f"about {max(plan['wire_s'], 0.1):.1f} s on the wire"
    return (
        f"{plan['receiver']}: {plan['added']} added, {plan['changed']} changed, {plan['removed']} removed, "
        f"{plan['unchanged']} unchanged; {how}."
    )


def _print_end(name: str, plan: dict[str, Any]) -> None:
    if plan["state"] == "held":
        console.print(f"Held: {plan['hold']} Nothing was written; restore again with --approve.", markup=False)
    elif plan["by_hand"] and plan["state"] == "pending":
        console.print(f"It stands on the visit sheet: gatepost visit-sheet show {name}", markup=False)
    else:
        console.print(f"{name}: {plan['outcome'] or plan['state']}", markup=False)
    if plan["snapshot"]:
        console.print(f"What it held before is snapshot {plan['snapshot']}.", markup=False)
    console.print(
        f"The roster waits at {name}. Say what is right: gatepost snapshot approve {name} --roster, or --snapshot.",
        markup=False,
    )
