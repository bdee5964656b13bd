"""`drift list | adopt | remove | restore | revoke`: what other hands changed at receivers, and what becomes of it."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from gateway.cli.client import ApiClient, part
from gateway.cli.console import REFUSED, AsJson, console, fail, print_json
from gateway.cli.reaching import Reach, reaching
from gateway.errors import NotFound, Refused

__all__ = ["drift", "drift_lines"]

drift = typer.Typer(help="What other hands changed at receivers, and what becomes of it.", no_args_is_help=True)

_Receiver = Annotated[str, typer.Argument(help="The receiver's name.")]
_Serials = Annotated[list[str] | None, typer.Argument(help="Serials of transmitters.")]
_All = Annotated[bool, typer.Option("--all", help="Everything at this receiver for which it makes sense.")]


def drift_lines(item: dict[str, Any]) -> list[str]:
    """One change for people: what was done, what becomes of it, what can be said."""
    lines = [f"{item['receiver']}: {item['words']}", f"  {item['next_step']}"]
    if item["todo"]:
        lines.append(f"  To do: {item['todo']}")
    choice = ", ".join(f"gatepost drift {each} {item['receiver']} {item['serial']}" for each in item["decisions"])
    return [*lines, f"  You can: {choice}"]


@drift.command("list")
@reaching
def list_(
    daemon: Reach,
    receiver: Annotated[str | None, typer.Option("--receiver", help="Only this receiver.")] = None,
    as_json: AsJson = False,
) -> None:
    """List what is open: added, changed or taken away at a receiver by other hands."""
    found = daemon.ask(lambda client: _open(client, receiver))
    if as_json:
        print_json(found)
    elif not found:
        console.print("Nothing is open: the receivers hold what the roster and people here put into them.")
    else:
        for line in [line for item in found for line in drift_lines(item)]:
            console.print(line, markup=False)
    if any(item["state"] in ("open", "stands") for item in found):
        raise typer.Exit(REFUSED)


def _offer(decision: str, words: str) -> None:
    """A command for a decision; they differ in nothing but it."""

    @drift.command(decision, help=words)
    @reaching
    def decide(
        daemon: Reach,
        receiver: _Receiver,
        serials: _Serials = None,
        every: _All = False,
        as_json: AsJson = False,
    ) -> None:
        _decide(decision, receiver, serials, every, daemon=daemon, as_json=as_json)


for _decision, _words in {
    "adopt": "Let what was added or changed stay, until the roster has it or somebody removes it.",
    "remove": "Take out what was added, put back what was changed.",
    "restore": "Give back what was taken away, as the roster says.",
    "revoke": "Make a transmitter that was added or taken away here stop working everywhere.",
}.items():
    _offer(_decision, _words)


async def _open(client: ApiClient, receiver: str | None) -> list[dict[str, Any]]:
    query = {"receiver": receiver} if receiver else {}
    found: list[dict[str, Any]] = await client.get_all("/drift", "drift", **query)
    return found


def _decide(
    decision: str, receiver: str, serials: list[str] | None, every: bool, *, daemon: Reach, as_json: bool
) -> None:
    if bool(serials) == every:
        raise typer.BadParameter("give one or more serials, or --all")
    wrong = [serial for serial in serials or () if not (serial.isascii() and serial.isdigit() and len(serial) <= 10)]
    if wrong:
        fail(Refused(f"“{wrong[0]}” is not a serial.", remedy="Write up to ten decimal digits, as on the transmitter."))

    async def work(client: ApiClient) -> list[dict[str, Any]]:
        named = [serial.zfill(10) for serial in serials or ()]
        if every:
            named = [item["serial"] for item in await _open(client, receiver) if decision in item["decisions"]]
            if not named:
                raise NotFound(
                    f"Nothing at {receiver} is open for which {decision} makes sense.",
                    remedy="List what is open: gatepost drift list",
                )
        body = {"decision": decision}
        return [await client.send("POST", f"/receivers/{part(receiver)}/drift/{each}/decision", body) for each in named]

    done = daemon.ask(work)
    if as_json:
        print_json(done)
        return
    for each in done:
        console.print(each["words"], markup=False)
