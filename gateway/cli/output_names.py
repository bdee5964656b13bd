"""What outputs are called, for `settings show | set`: shown in words, and called otherwise."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import typer

from gateway.api.client.types import NamedOutputAnswer, OutputNamesChangeAnswer
from gateway.cli.client import ApiClient
from gateway.cli.console import console
from gateway.errors import Refused

__all__ = ["print_names", "print_renamed", "rename", "wanted_names"]


def wanted_names(pairs: Sequence[str]) -> dict[str, str]:
    """New names by output, as somebody named it. Raises BadParameter."""
    found: dict[str, str] = {}
    for pair in pairs:
        output, equals, name = pair.partition("=")
        if not output or not equals:
            raise typer.BadParameter(
                f"“{pair}”: write OUTPUT=NAME, for example 1=slip; 1= for the settings file's name"
            )
        if output in found:
            raise typer.BadParameter(f"“{pair}”: output {output} is called otherwise twice; name it once")
        found[output] = name
    return found


async def rename(client: ApiClient, receiver: str, called: Mapping[str, str]) -> OutputNamesChangeAnswer:
    """Made from what stands there now. Raises Refused, and what the client raises."""
    now = await client.get_output_names(receiver)
    numbers = {each["in_use"].casefold(): each["number"] for each in now.value["outputs"] if each["in_use"]}
    names: dict[str, str] = {}
    for output, name in called.items():
        number = int(output) if output.isascii() and output.isdigit() else numbers.get(output.casefold())
        if number is None:
            known = ", ".join(_named(each) for each in now.value["outputs"])
            raise Refused(f"{receiver} has no output {output}.", remedy=f"It has {known}.")
        if str(number) in names:
            raise Refused(f"Output {number} of {receiver} is called otherwise twice.", remedy="Name it once.")
        names[str(number)] = name
    return await client.change_output_names(receiver, {"names": names}, if_match=now.etag)


def print_names(outputs: Sequence[NamedOutputAnswer]) -> None:
    """Those that have or had a name, in use and in the settings file."""
    for output in outputs:
        told = [f"in the settings file {output['in_settings']}"] if output["in_settings"] != output["in_use"] else []
        if not output["in_settings"]:
            told = ["without a name in the settings file"] if output["in_use"] else []
        told += [f"earlier {', '.join(output['former'])}"] if output["former"] else []
        more = f" ({'; '.join(told)})" if told else ""
        if output["in_use"]:
            console.print(f"output {output['number']} is called {output['in_use']}{more}", markup=False)
        elif more:
            console.print(f"output {output['number']} has no name{more}", markup=False)


def print_renamed(changed: OutputNamesChangeAnswer) -> None:
    """What is called otherwise now."""
    pairs = list(zip(changed["before"]["outputs"], changed["after"]["outputs"], strict=True))
    told = [(old, new) for old, new in pairs if old["in_use"] != new["in_use"]]
    for old, new in told:
        now = f"is called {new['in_use']}" if new["in_use"] else "has no name"
        before = f", before {old['in_use']}" if old["in_use"] else ""
        console.print(f"Output {new['number']} {now}{before}.", markup=False)
    if not told:
        console.print("Every output is called so already; nothing was changed.")
    elif any(old["in_use"] for old, _ in told):
        console.print("No receiver was changed, and rosters may still write the earlier names.")


def _named(output: NamedOutputAnswer) -> str:
    return f"output {output['number']} ({output['in_use']})" if output["in_use"] else f"output {output['number']}"
