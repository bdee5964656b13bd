"""All commands, and the way into them.

Only the command that is asked for is loaded: the daemon lives for months with what its start has loaded, and a
command is there at once. Help, completion and mistakes load them all.
"""

from __future__ import annotations

import sys
from importlib import import_module
from importlib.metadata import version
from typing import Annotated

import typer

from gateway.cli.console import console

__all__ = ["command_line", "main"]

#: Every command where it stands in this room, in the order of the help. Two words: a command of the group before it.
_PLACES = {
    "demo": "demo:demo",
    "run": "running:run",
    "check": "running:check",
    "status": "looking:status",
    "follow": "following:follow",
    "conditions": "gates:conditions",
    "why": "gates:why",
    "roster": "rosters:rosters",
    "roster from-receiver": "first_roster:from_receiver",
    "roster history": "histories:history",
    "people": "people:people",
    "plan": "plans:plans",
    "receipt": "receipts:receipts",
    "report": "reports:reports",
    "enrol": "enrolling:enrol",
    "overrides": "enrolling:overrides",
    "revoke": "revoking:revoke",
    "drift": "drift:drift",
    "settings": "changing:settings",
    "token": "tokens:tokens",
    "snapshot": "snapshots:snapshots",
    "outlet": "outlets:outlets",
    "output": "operating:outputs",
    "visit": "visits:visits",
    "reset": "clearing:reset",
    "visit-sheet": "visit_sheets:visit_sheets",
    "virtual-receiver": "virtual:virtual_receiver",
}


def command_line(asked: str | None = None) -> typer.Typer:
    """All commands, or the one that is asked for, where there is such a one."""
    app = typer.Typer(
        name="gatepost",
        help=_start.__doc__,
        callback=_start,
        no_args_is_help=True,
        add_completion=False,
        pretty_exceptions_enable=False,
        rich_markup_mode=None,
        context_settings={"max_content_width": 110},  # on a wide terminal nothing of the lists is cut
    )
    groups = {"": app}
    known = any(words.split()[0] == asked for words in _PLACES)
    for words, place in _PLACES.items():
        group, _, name = words.rpartition(" ")
        if known and words.split()[0] != asked:
            continue
        module, _, attribute = place.partition(":")
        found = getattr(import_module(f"gateway.cli.{module}"), attribute)
        if isinstance(found, typer.Typer):
            groups[name] = found
            app.add_typer(found, name=name)
        else:
            groups[group].command(name)(found)
    return app


def main() -> None:
    """Run the command that the arguments name."""
    command_line(sys.argv[1] if len(sys.argv) > 1 else None)()


def _say_version(asked: bool) -> None:
    if asked:
        console.print(f"gatepost {version('gatepost')}")
        raise typer.Exit


def _start(
    _version: Annotated[
        bool, typer.Option("--version", callback=_say_version, is_eager=True, help="Say which version this is.")
    ] = False,
) -> None:
    """A gateway for radio receivers that drive gates, barriers and shutters."""
