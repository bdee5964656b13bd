"""`revoke`: by serial, by holder or by group; seen first, then proven."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from typing import Annotated, Any

import typer

from gateway.cli.client import ApiClient
from gateway.cli.console import (
    REFUSED,
    AsJson,
    console,
    fail,
    local_time,
    print_json,
    tell_aside,
)
from gateway.cli.reaching import Reach, reaching
from gateway.cli.serials import full_serial
from gateway.errors import Refused

__all__ = ["revoke"]

_PROOF_WAIT_S = 10.0
_LOOK_EVERY_S = 0.1
_STATES = {
    "proven": "gone, proven by reading the memory",
    "pending": "pending; taken out as soon as that is possible",
    "owed": "owed at the next visit; it works there until then (gatepost visit-sheet show)",
    "by-hand": "not there by what was ticked by hand; not proven",
}
_Revoked = list[dict[str, Any]]


@reaching
def revoke(
    daemon: Reach,
    serial: Annotated[str | None, typer.Argument(help="The serial on the lost transmitter.")] = None,
    holder: Annotated[str | None, typer.Option("--holder", help="All transmitters of this holder.")] = None,
    group: Annotated[str | None, typer.Option("--group", help="All transmitters of this group.")] = None,
    reason: Annotated[str, typer.Option("--reason", help="Why; kept in the audit.")] = "",
    lift: Annotated[bool, typer.Option("--lift", help="Take the revocation back instead.")] = False,
    preview: Annotated[bool, typer.Option("--preview", help="Only say which transmitters it would be.")] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Don't ask; for --holder and --group.")] = False,
    as_json: AsJson = False,
) -> None:
    """Make transmitters stop working everywhere, now, whatever the roster says."""
    _check_usage(serial, holder, group, reason, lift=lift, preview=preview)

    async def work(client: ApiClient) -> Any:
        if serial is not None:
            full = full_serial(serial)
            return await _lift(client, [full], reason) if lift else await _revoke_one(client, full, reason)
        query = {"holder": holder} if holder is not None else {"group": group or ""}
        selected = (await client.get("/revocation-selections", **query))["transmitters"]
        chosen = [each for each in selected if each["revoked"]] if lift else selected
        if preview:
            return {"transmitters": chosen}
        if not chosen:
            raise Refused(
                f"None of the transmitters of {holder or group} is revoked.", remedy="Nothing is to be lifted."
            )
        _confirm(chosen, "Lift the revocation of" if lift else "Revoke", yes=yes, quiet=as_json)
        serials = [each["serial"] for each in chosen]
        if lift:
            return await _lift(client, serials, reason)
        made = await client.send("POST", "/revocation-batches", {**query, "reason": reason, "serials": serials})
        return await _proven(client, made["revocations"])

    found = daemon.ask(work)
    if preview:
        _print_preview(found, as_json)
    elif lift:
        _print_lifted(found, as_json)
    else:
        _print_revoked(found, reason, as_json, alone=serial is not None)


def _check_usage(
    serial: str | None, holder: str | None, group: str | None, reason: str, *, lift: bool, preview: bool
) -> None:
    if sum(each is not None for each in (serial, holder, group)) != 1:
        raise typer.BadParameter("give one of: a serial, --holder, --group")
    if serial is not None:
        full_serial(serial)
        if preview:
            raise typer.BadParameter("--preview goes with --holder and --group")
    if lift and group is not None:
        raise typer.BadParameter("lift by serial or by --holder: each one should be meant")
    if not reason and not preview:
        raise typer.BadParameter("give a --reason; it is kept for those who ask later")


def _confirm(chosen: Sequence[dict[str, Any]], verb: str, *, yes: bool, quiet: bool) -> None:
    """Show what it would be and ask. Without a terminal nobody can answer, so --yes has to say it."""
    for each in chosen if not quiet else ():
        console.print(f"  {each['words']}", markup=False)
    if yes:
        return
    count = "this transmitter" if len(chosen) == 1 else f"these {len(chosen)} transmitters"
    if quiet or not console.is_terminal:
        fail(
            Refused(f"Nothing is done: nobody was asked about {count}.", remedy="Look with --preview, then say --yes.")
        )
    if not typer.confirm(f"{verb} {count} now?"):
        raise typer.Exit(REFUSED)


async def _revoke_one(client: ApiClient, full: str, reason: str) -> _Revoked:
    return await _proven(client, [await client.send("POST", "/revocations", {"serial": full, "reason": reason})])


async def _proven(client: ApiClient, revoked: _Revoked) -> _Revoked:
    """The revocations once they are proven wherever that is possible now, or as far as they are after a while."""
    waited, problems = 0.0, await _problems(client)
    while _is_waited_for(revoked, problems) and waited < _PROOF_WAIT_S:
        await asyncio.sleep(_LOOK_EVERY_S)
        waited += _LOOK_EVERY_S
        listed = {each["serial"]: each for each in await client.get_all("/revocations", "revocations")}
        revoked = [listed.get(each["serial"], each) for each in revoked]
    problems = await _problems(client) if _has(revoked, "pending") else {}
    return [each | {"problems": _of_pending(each, problems)} for each in await _receipts(client, revoked)]


async def _problems(client: ApiClient) -> dict[str, str]:
    """By receiver why it can't be worked at this moment; those that can are left out."""
    receivers = await client.get_all("/receivers", "receivers")
    return {each["id"]: f"{each['problem']} {each['remedy']}".strip() for each in receivers if each["link"] != "online"}


def _is_waited_for(revoked: _Revoked, problems: dict[str, str]) -> bool:
    pending = {name for each in revoked for name, state in each["states"].items() if state == "pending"}
    return bool(pending - problems.keys())


def _of_pending(revoked: dict[str, Any], problems: dict[str, str]) -> dict[str, str]:
    return {name: problems.get(name, "") for name, state in revoked["states"].items() if state == "pending"}


async def _receipts(client: ApiClient, revoked: _Revoked) -> _Revoked:
    """With the id of the newest receipt of each proof, by receiver, as their events tell it."""
    serials = {each["serial"] for each in revoked}
    found: dict[str, dict[str, str]] = {serial: {} for serial in serials}
    for event in (await client.get("/events", name="revocation.applied", limit=500))["events"]:  # newest first
        data = event["data"]
        if data["serial"] in serials and data.get("receipt"):
            found[data["serial"]].setdefault(event["subject"], data["receipt"])
    return [
        each | {"receipts": {name: found[each["serial"]].get(name, "") for name in _proven_at(each)}}
        for each in revoked
    ]


def _proven_at(revoked: dict[str, Any]) -> list[str]:
    return [name for name, state in sorted(revoked["states"].items()) if state == "proven"]


async def _lift(client: ApiClient, serials: Sequence[str], reason: str) -> list[str]:
    for full in serials:
        await client.send("DELETE", f"/revocations/{full}", query={"reason": reason})
    return list(serials)


def _print_preview(found: dict[str, Any], as_json: bool) -> None:
    if as_json:
        print_json(found)
        return
    for each in found["transmitters"]:
        console.print(each["words"], markup=False)
    many = len(found["transmitters"])
    console.print(f"{'1 transmitter' if many == 1 else f'{many} transmitters'}; nothing was changed.")


def _print_lifted(serials: list[str], as_json: bool) -> None:
    if as_json:
        print_json({"lifted": serials})
        return
    for full in serials:
        console.print(f"The revocation of {full} is lifted. The next sync gives it what the roster says.")


def _earlier(revoked: dict[str, Any], reason: str) -> str:
    """Who asked first stays on record, and why."""
    if revoked["reason"] == reason:
        return ""
    return f" It was before, since {local_time(revoked['time'])} by {revoked['asked_by']}: {revoked['reason']}"


def _print_revoked(revoked: _Revoked, reason: str, as_json: bool, *, alone: bool) -> None:
    if as_json:
        print_json(revoked[0] if alone else {"revocations": revoked})
    for each in revoked if not as_json else ():
        console.print(f"Transmitter {each['serial']} is revoked.{_earlier(each, reason)}", markup=False)
        for receiver, state in sorted(each["states"].items()):
            receipt = each["receipts"].get(receiver, "")
            console.print(f"  {receiver}: {_STATES[state]}{f' (receipt {receipt})' if receipt else ''}", markup=False)
            if problem := each["problems"].get(receiver):
                console.print(f"    {problem}", markup=False)
    if _has(revoked, "pending", "owed"):
        if as_json:
            tell_aside("Not proven everywhere yet; `states` says where.")
        raise typer.Exit(REFUSED)


def _has(revoked: _Revoked, *states: str) -> bool:
    return any(state in states for each in revoked for state in each["states"].values())
