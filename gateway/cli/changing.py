"""`settings show | set`: a receiver's own settings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any

import typer

from gateway.api.client.types import OutputAnswer, OutputNamesChangeAnswer, SettingsAnswer
from gateway.cli.client import ApiClient, ApiProblem, part
from gateway.cli.console import AsJson, console, fail, print_json
from gateway.cli.output_names import print_names, print_renamed, rename, wanted_names
from gateway.cli.reaching import Reach, reaching
from gateway.errors import Refused, SettingsFault

__all__ = ["settings"]

settings = typer.Typer(help="A receiver's own settings.", no_args_is_help=True)
_Outputs = Mapping[str, OutputAnswer]


@settings.command("show")
@reaching
def show(
    daemon: Reach,
    receiver: Annotated[str, typer.Argument(help="The receiver's name.")],
    as_json: AsJson = False,
) -> None:
    """Show on-times, local programming, whether a link password is set, and what outputs are called."""

    async def work(client: ApiClient) -> tuple[SettingsAnswer, _Outputs] | ApiProblem:
        try:
            found = (await client.get_settings(receiver)).value
        except ApiProblem as problem:
            if problem.code != "unsupported":
                raise
            return problem
        return found, await _outputs(client, receiver)

    names = daemon.ask(lambda client: client.get_output_names(receiver)).value["outputs"]
    if not as_json:
        print_names(names)
    held = daemon.ask(work)
    if as_json:
        print_json({**({} if isinstance(held, ApiProblem) else held[0]), "output_names": names})
    elif isinstance(held, ApiProblem):
        console.print(f"{held.message} {held.remedy}", markup=False)
    else:
        _print_settings(*held)


def _print_settings(found: SettingsAnswer, outputs: _Outputs) -> None:
    for number, seconds in found["on_times_s"].items():
        mode = outputs[number]["mode"] if number in outputs else None
        unused = "" if mode in (None, "timed") else f", once it is timed; it is {mode} now"
        console.print(f"{_output_words(number, outputs)} stays closed for {seconds} s{unused}", markup=False)
    console.print("local programming at the board is " + ("allowed" if found["local_programming"] else "locked"))
    console.print("a link password is " + ("set" if found["password_set"] else "not set"))


def _output_words(number: str, outputs: _Outputs) -> str:
    name = outputs[number]["name"] if number in outputs else ""
    return f"output {number} ({name})" if name else f"output {number}"


async def _outputs(client: ApiClient, receiver: str) -> _Outputs:
    """Names and modes by number, as the last poll found them."""
    return {str(output["number"]): output for output in (await client.get_status(receiver))["outputs"]}


@settings.command("set")
@reaching
def change(
    daemon: Reach,
    receiver: Annotated[str, typer.Argument(help="The receiver's name.")],
    on_time: Annotated[
        list[str] | None,
        typer.Option("--on-time", help="OUTPUT=SECONDS, the output by number or name; may be repeated."),
    ] = None,
    local_programming: Annotated[
        bool | None,
        typer.Option("--local-programming/--lock-local-programming", help="Allow or lock the board's buttons."),
    ] = None,
    password_file: Annotated[
        Path | None,
        typer.Option("--password-file", help="A file with the new link password; an empty one switches it off."),
    ] = None,
    output_name: Annotated[
        list[str] | None,
        typer.Option(
            "--output-name",
            help="OUTPUT=NAME, the gateway's own name for it, or OUTPUT= for the settings file's; may be repeated.",
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Change settings; each is read back. A changed on-time can change how the gate moves: have it tested on site.

    Names of outputs are the gateway's own; no receiver keeps them, and calling one otherwise changes none.
    """
    seconds, called = _seconds(on_time or ()), wanted_names(output_name or ())
    body: dict[str, Any] = {}
    if local_programming is not None:
        body["local_programming"] = local_programming
    if password_file is not None:
        body["password"] = _read_password(password_file)
    if not body and not seconds and not called:
        raise typer.BadParameter(
            "nothing to change; give --on-time, --local-programming, --password-file or --output-name"
        )

    async def begin(client: ApiClient) -> tuple[_Outputs, OutputNamesChangeAnswer | None]:
        """Names are as they were when the command was given; what can't be asked says so before anything is changed."""
        outputs: _Outputs = {}
        if body or seconds:
            await client.get_settings(receiver)
            outputs = await _outputs(client, receiver)
            body.update({"on_times_s": _numbered(receiver, seconds, outputs)} if seconds else {})
        renamed = await rename(client, receiver, called) if called else None
        return await _outputs(client, receiver) if renamed and outputs else outputs, renamed

    outputs, renamed = daemon.ask(begin)
    if renamed and not as_json:
        print_renamed(renamed)
    if not body:
        if as_json:
            print_json({"output_names": renamed})
        return
    changed = daemon.ask(lambda client: client.change(f"/receivers/{part(receiver)}/settings", body))
    if as_json:
        print_json({**changed, "output_names": renamed} if renamed else changed)
        return
    console.print("Before:")
    _print_settings(changed["before"], outputs)
    console.print("Now, read back:")
    _print_settings(changed["after"], outputs)
    if body.get("password"):
        console.print("The link password is the new one, proven by locking and unlocking. It is in no snapshot.")
    if changed["before"]["on_times_s"] != changed["after"]["on_times_s"]:
        console.print("A changed on-time can change how the gate moves: have it tested on site.")


def _seconds(pairs: Sequence[str]) -> dict[str, int]:
    """By output, as somebody named it."""
    found: dict[str, int] = {}
    for pair in pairs:
        output, _, seconds = pair.rpartition("=")
        if not (output and seconds.isascii() and seconds.isdigit()):
            raise typer.BadParameter(f"“{pair}”: write OUTPUT=SECONDS in whole seconds, for example 1=5")
        if output in found:
            raise typer.BadParameter(f"“{pair}”: output {output} has {found[output]} s already; name it once")
        found[output] = int(seconds)
    return found


def _numbered(receiver: str, seconds: Mapping[str, int], outputs: _Outputs) -> dict[str, int]:
    """The same by number. Raises Refused."""
    numbers = {output["name"]: number for number, output in outputs.items() if output["name"]}
    found: dict[str, int] = {}
    for output, on_time in seconds.items():
        number = output if output.isascii() and output.isdigit() else numbers.get(output)
        if number is None:
            names = ", ".join(_output_words(each, outputs) for each in outputs)
            raise Refused(f"{receiver} has no output {output}.", remedy=f"It has {names}.")
        if number in found:
            raise Refused(f"Output {number} of {receiver} is named twice.", remedy="Name it once.")
        found[number] = on_time
    return found


def _read_password(path: Path) -> str:
    """One line of text; the end of the line, as any editor writes it, is no part of the password."""
    try:
        return path.read_text("utf-8-sig").rstrip("\r\n")
    except OSError as fault:
        fail(SettingsFault(f"{path} can't be read: {fault.strerror}.", remedy="Check its path and rights."))
    except UnicodeDecodeError:
        fail(
            SettingsFault(
                f"{path} holds no link password.",
                remedy="It is one line of up to 8 letters without accents, digits or signs.",
            )
        )
