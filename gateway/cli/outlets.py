"""`outlet list | show | test | replay`."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any

import typer

from gateway.cli.console import AsJson, console, fail, local_time, print_json, tell_aside
from gateway.cli.reaching import Reach, reaching
from gateway.cli.sign_off import OUTCOMES, sheet_name, sign_off_sheet, write_sheet
from gateway.cli.words import counted
from gateway.errors import Refused

__all__ = ["outlets", "set_aside_lines"]

outlets = typer.Typer(help="Where events go: webhooks, MQTT, alarm reporting, mail.", no_args_is_help=True)

_STATES = {
    "idle": "has everything",
    "sending": "is sending",
    "held": "waits for its time",
    "retrying": "tries again",
    "failing": "fails",
    "disabled": "is switched off by the other side",
}
Name = Annotated[str, typer.Argument(help="The outlet's name in the settings.")]


@outlets.command("list")
@reaching
def list_(daemon: Reach, as_json: AsJson = False) -> None:
    """Show every outlet and how far it has come."""
    found = daemon.ask(lambda client: client.list_outlets())
    if as_json:
        print_json(found)
        return
    if not found["outlets"]:
        console.print("There are no outlets. docs/outlets/ shows how to set one up.")
    for outlet in found["outlets"]:
        console.print(_sentence(outlet), markup=False)


@outlets.command("show")
@reaching
def show(daemon: Reach, name: Name, as_json: AsJson = False) -> None:
    """Show one outlet and the events that the other side refused."""
    found = daemon.ask(lambda client: client.get_outlet(name))
    if as_json:
        print_json(found)
        return
    for line in [_sentence(found), *set_aside_lines(found)]:
        console.print(line, markup=False)


@outlets.command("test")
@reaching
def send_samples(
    daemon: Reach,
    name: Name,
    sheet: Annotated[
        Path | None, typer.Option("--sheet", help="The sign-off sheet's file; a new one in this folder unless given.")
    ] = None,
    no_sheet: Annotated[bool, typer.Option("--no-sheet", help="Write no sign-off sheet.")] = False,
    on_test: Annotated[
        bool, typer.Option("--on-test", help="The station has put the account on test; alarm reporting asks for it.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Send each kind of event once as a test, say what arrived, and write a sheet for both sides to sign.

    With --json a sheet is written only when --sheet names it.
    """

    async def work(client: Any) -> Any:
        outlet = await client.get_outlet(name)
        if outlet["kind"] == "alarm" and not on_test:
            raise Refused(
                "DC-09 has no mark for tests: the station would take these for alarms and may send somebody.",
                remedy="Have the account put on test at the station first, then add --on-test.",
                code="not-on-test",
            )
        return await client.get_gateway(), outlet, await client.test_outlet(name)

    gateway, outlet, result = daemon.ask(work)
    if as_json:
        print_json(result)
    else:
        for each in result["results"]:
            answer = f" ({each['answer']})" if each["answer"] else ""
            console.print(f"{each['words']}: {OUTCOMES[each['outcome']]}{answer}", markup=False)
        console.print(
            "All of it arrived." if result["passed"] else "Not everything arrived; see above what to do.", markup=False
        )
    if sheet is not None or not (no_sheet or as_json):
        path = sheet or sheet_name(name, result["time"])
        try:
            write_sheet(path, sign_off_sheet(gateway, outlet, result))
        except Refused as fault:
            fail(fault)
        tell_aside(f"The sheet is in {path}.")
    if not result["passed"]:
        raise typer.Exit(1)


@outlets.command("replay")
@reaching
def replay(
    daemon: Reach,
    name: Name,
    first: Annotated[str, typer.Argument(help="The id of the first event to send, such as k3v9-1188.")],
    as_json: AsJson = False,
) -> None:
    """Send again from an event on; lets an outlet go on that was switched off by the other side."""
    found = daemon.ask(lambda client: client.replay_outlet(name, {"first": first}))
    if as_json:
        print_json(found)
    else:
        console.print(f"{name} sends from {first} on, {counted(found['lag'], 'event')}.", markup=False)


def set_aside_lines(outlet: Mapping[str, Any]) -> list[str]:
    """The events that the other side refused, newest first, and what sends them again."""
    found = outlet["set_aside_events"]
    lines = [
        f"  {local_time(each['time'])}, {each['event']}, {each['receiver'] or 'gateway'}: {each['name']}. "
        f"{each['problem']}"
        for each in found
    ]
    if found:
        again = f"gatepost outlet replay {outlet['id']} {found[-1]['event']}"
        lines.append(f"When that is mended: {again} sends it and all after it again.")
    return lines


def _sentence(outlet: Mapping[str, Any]) -> str:
    words = f"{outlet['id']} ({outlet['kind']}, {outlet['place']}) {_STATES[outlet['state']]}"
    parts = [f"{counted(outlet['lag'], 'event')} before it" if outlet["lag"] else ""]
    parts += [f"{outlet['set_aside']} refused and set aside" if outlet["set_aside"] else ""]
    parts += [f"{outlet['lost']} forgotten before they were sent" if outlet["lost"] else ""]
    told = "; ".join([words, *(part for part in parts if part)]) + "."
    return " ".join(part for part in (told, outlet["problem"], outlet["remedy"]) if part)
