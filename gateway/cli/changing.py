"""`settings show | set`: a receiver's own settings."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from gateway.api.client.types import SettingsAnswer
from gateway.cli.client import part
from gateway.cli.console import AsJson, console, fail, print_json
from gateway.cli.reaching import Reach, reaching
from gateway.errors import SettingsFault

__all__ = ["settings"]

settings = typer.Typer(help="A receiver's own settings.", no_args_is_help=True)


@settings.command("show")
@reaching
def show(
    daemon: Reach,
    receiver: Annotated[str, typer.Argument(help="The receiver's name.")],
    as_json: AsJson = False,
) -> None:
    """Show on-times, local programming and whether a link password is set."""
    found = daemon.ask(lambda client: client.get_settings(receiver)).value
    if as_json:
        print_json(found)
    else:
        _print_settings(found)


def _print_settings(found: SettingsAnswer) -> None:
    for number, seconds in found["on_times_s"].items():
        console.print(f"output {number} stays closed for {seconds} s")
    console.print("local programming at the board is " + ("allowed" if found["local_programming"] else "locked"))
    console.print("a link password is " + ("set" if found["password_set"] else "not set"))


@settings.command("set")
@reaching
def change(
    daemon: Reach,
    receiver: Annotated[str, typer.Argument(help="The receiver's name.")],
    on_time: Annotated[list[str] | None, typer.Option("--on-time", help="OUTPUT=SECONDS; may be repeated.")] = None,
    local_programming: Annotated[
        bool | None,
        typer.Option("--local-programming/--lock-local-programming", help="Allow or lock the board's buttons."),
    ] = None,
    password_file: Annotated[
        Path | None,
        typer.Option("--password-file", help="A file with the new link password; an empty one switches it off."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Change settings; each is read back. A changed on-time can change how the gate moves: have it tested on site."""
    body: dict[str, Any] = {}
    for pair in on_time or ():
        number, _, seconds = pair.partition("=")
        if not (number.isdigit() and seconds.isdigit()):
            raise typer.BadParameter(f"“{pair}”: write OUTPUT=SECONDS, for example 1=5")
        body.setdefault("on_times_s", {})[number] = int(seconds)
    if local_programming is not None:
        body["local_programming"] = local_programming
    if password_file is not None:
        body["password"] = _read_password(password_file)
    if not body:
        raise typer.BadParameter("nothing to change; give --on-time, --local-programming or --password-file")

    changed = daemon.ask(lambda client: client.change(f"/receivers/{part(receiver)}/settings", body))
    if as_json:
        print_json(changed)
        return
    console.print("Before:")
    _print_settings(changed["before"])
    console.print("Now, read back:")
    _print_settings(changed["after"])


def _read_password(path: Path) -> str:
    try:
        return path.read_text("utf-8").rstrip("\n")
    except OSError as fault:
        fail(SettingsFault(f"{path} can't be read: {fault.strerror}.", remedy="Check its path and rights."))
