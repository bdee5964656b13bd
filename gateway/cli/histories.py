"""`roster history`: accepted rosters, who had access to what on a past day, one transmitter's whole story."""

from __future__ import annotations

from datetime import date, datetime
from itertools import groupby
from typing import Annotated, Any
from zoneinfo import ZoneInfo

import typer

from gateway.cli.client import ApiClient
from gateway.cli.console import AsJson, console, local_time, print_json
from gateway.cli.reaching import Reach, reaching
from gateway.cli.serials import full_serial
from gateway.cli.words import counted

__all__ = ["history"]

_REVISIONS = 20
_HEADINGS = {
    "memory": "Read in the receiver's memory:",
    "by-hand": "Written down by hand, not proven:",
    "roster": "On the roster, and not in the memory (no access as far as is known):",
}
_BASIS = {"roster": "roster", "order": "asked for", "memory": "proven", "by-hand": "by hand", "board": "found",
          "radio": "heard"}  # fmt: skip


@reaching
def history(
    daemon: Reach,
    on: Annotated[
        str | None, typer.Option("--on", metavar="DATE", help="Who had access to what on this day: YYYY-MM-DD.")
    ] = None,
    serial: Annotated[str | None, typer.Option("--serial", help="The whole story of one transmitter.")] = None,
    receiver: Annotated[str | None, typer.Option("--receiver", help="With --on: at this receiver alone.")] = None,
    gate: Annotated[str | None, typer.Option("--gate", help="With --on: at this gate alone.")] = None,
    as_json: AsJson = False,
) -> None:
    """Who had access to what on any past day; one transmitter's story; without either the accepted rosters.

    What a receiver's memory held and what a roster only wanted are told apart. Who asks is written into the audit.
    """
    if on is not None and serial is not None:
        raise typer.BadParameter("ask either for a day (--on) or for a transmitter (--serial)")
    if on is None and (receiver or gate):
        raise typer.BadParameter("--receiver and --gate narrow a day: add --on YYYY-MM-DD")
    query = _query(on, serial, receiver, gate)

    async def work(client: ApiClient) -> Any:
        if on is not None:
            return await _whole_day(client, query)
        if serial is not None:
            return (await client.get("/roster/history", **query))["story"]
        return (await client.get("/roster/revisions", limit=_REVISIONS))["revisions"]

    found = daemon.ask(work)
    if as_json:
        print_json(found)
    elif on is not None:
        _print_day(found)
    elif serial is not None:
        _print_story(found)
    else:
        _print_revisions(found)


def _query(on: str | None, serial: str | None, receiver: str | None, gate: str | None) -> dict[str, str]:
    asked = {"serial": full_serial(serial) if serial is not None else None, "receiver": receiver, "gate": gate}
    if on is not None:
        try:
            asked["on"] = date.fromisoformat(on).isoformat()
        except ValueError:
            raise typer.BadParameter(f"“{on}” is no date; write one like 2026-03-02") from None
    return {key: value for key, value in asked.items() if value is not None}


async def _whole_day(client: ApiClient, query: dict[str, str]) -> dict[str, Any]:
    day: dict[str, Any] = await client.get("/roster/history", limit=500, **query)
    page = day
    while page["next"]:
        page = await client.get("/roster/history", limit=500, cursor=page["next"], **query)
        day["access"] += page["access"]
    return {key: value for key, value in day.items() if key not in ("story", "next")}


def _print_day(day: dict[str, Any]) -> None:
    zone = ZoneInfo(day["zone"])
    hours = (datetime.fromisoformat(day["end"]) - datetime.fromisoformat(day["begin"])).total_seconds() / 3600
    console.print(f"{day['on']} in {day['zone']} ({hours:.0f} hours)", markup=False)
    for receiver in day["receivers"]:
        rows = [row for row in day["access"] if row["receiver"] == receiver["receiver"]]
        console.print(f"\n{receiver['receiver']}", markup=False)
        _print_receiver(receiver, zone)
        if not rows and receiver["recorded"]:
            console.print("  Nobody had access, as far as is known.")
        order = list(_HEADINGS)
        for basis, group in groupby(sorted(rows, key=lambda row: order.index(row["basis"])), lambda row: row["basis"]):
            console.print(f"  {_HEADINGS[basis]}", markup=False)
            for row in group:
                console.print(f"    {row['words']}", markup=False)


def _print_receiver(receiver: dict[str, Any], zone: ZoneInfo) -> None:
    since = receiver["recorded_since"]
    if not receiver["recorded"]:
        begins = f"it begins {_when(since, zone)}" if since else "there is none"
        console.print(f"  Nothing is recorded of what it held on this day ({begins}).", markup=False)
    elif since is not None:
        console.print(f"  Recorded since {_when(since, zone)}.", markup=False)
    for gap in receiver["gaps"]:
        until = _local(gap["until"], zone) if gap["until"] else "the end of what is known"
        console.print(
            f"  Nobody watched it from {_local(gap['since'], zone)} until {until} ({gap['why']}); "
            "a change in that time is dated when it was found.",
            markup=False,
        )
    if receiver["receipt"]:
        console.print(
            f"  Last proven equal to the roster: receipt {receiver['receipt']}, "
            f"{_local(receiver['receipt_time'], zone)}.",
            markup=False,
        )


def _print_story(story: dict[str, Any]) -> None:
    console.print(f"Transmitter {story['serial']}{', ' + story['holder'] if story['holder'] else ''}", markup=False)
    for chapter in story["chapters"]:
        where = f"{chapter['receiver']}: " if chapter["receiver"] else ""
        moment = chapter["moment"]
        stamp = local_time(moment["at"]) if moment["at"] else _unknown(moment)
        console.print(f"  {stamp}  {_BASIS[chapter['basis']]:<9}  {where}{chapter['words']}", markup=False)
    for words in story["now"]:
        console.print(words, markup=False)
    for words in story["limits"]:
        console.print(f"Note: {words}", markup=False)


def _print_revisions(revisions: list[dict[str, Any]]) -> None:
    if not revisions:
        console.print("No roster has been accepted yet.")
    for one in revisions:
        accepted = one["accepted"]
        stamp = local_time(accepted["at"]) if accepted["at"] else _unknown(accepted)
        signed = f", signed as {one['revision']}" if one["revision"] is not None else ""
        console.print(
            f"revision {one['number']}  {stamp}  {counted(one['transmitters'], 'transmitter')} of "
            f"{counted(one['holders'], 'holder')}: "
            f"{one['added']} added, {one['changed']} changed, {one['removed']} removed  {one['digest'][:12]}{signed}",
            markup=False,
        )


def _unknown(moment: dict[str, Any]) -> str:
    bounds = [local_time(moment[end]) if moment[end] else "?" for end in ("earliest", "latest")]
    return f"by a clock that was not right, between {bounds[0]} and {bounds[1]}"


def _when(moment: dict[str, Any], zone: ZoneInfo) -> str:
    return _local(moment["at"], zone) if moment["at"] else f"at a time that is not known ({_unknown(moment)})"


def _local(stamp: str, zone: ZoneInfo) -> str:
    return datetime.fromisoformat(stamp).astimezone(zone).strftime("%Y-%m-%d %H:%M:%S %z")
