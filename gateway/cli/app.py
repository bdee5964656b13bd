"""All commands, and the way into them."""

from __future__ import annotations

from importlib.metadata import version
from typing import Annotated

import typer

from gateway.cli.changing import settings
from gateway.cli.clearing import reset
from gateway.cli.console import console
from gateway.cli.demo import demo
from gateway.cli.drift import drift
from gateway.cli.enrolling import enrol, overrides
from gateway.cli.first_roster import from_receiver
from gateway.cli.following import follow
from gateway.cli.gates import conditions, why
from gateway.cli.histories import history
from gateway.cli.looking import status
from gateway.cli.operating import outputs
from gateway.cli.outlets import outlets
from gateway.cli.people import people
from gateway.cli.plans import plans
from gateway.cli.receipts import receipts
from gateway.cli.reports import reports
from gateway.cli.revoking import revoke
from gateway.cli.rosters import rosters
from gateway.cli.running import check, run
from gateway.cli.snapshots import snapshots
from gateway.cli.tokens import tokens
from gateway.cli.virtual import virtual_receiver
from gateway.cli.visit_sheets import visit_sheets
from gateway.cli.visits import visits

__all__ = ["main"]

app = typer.Typer(
    name="gatepost",
    help="A gateway for radio receivers that drive gates, barriers and shutters.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"max_content_width": 110},  # on a wide terminal nothing of the lists is cut
)


def _say_version(asked: bool) -> None:
    if asked:
        console.print(f"gatepost {version('gatepost')}")
        raise typer.Exit


@app.callback()
def _start(
    _version: Annotated[
        bool, typer.Option("--version", callback=_say_version, is_eager=True, help="Say which version this is.")
    ] = False,
) -> None:
    """A gateway for radio receivers that drive gates, barriers and shutters."""


app.command()(demo)
app.command()(run)
app.command()(check)
app.command()(status)
app.command()(follow)
app.command()(conditions)
app.command()(why)
app.add_typer(rosters, name="roster")
rosters.command("from-receiver")(from_receiver)
rosters.command("history")(history)
app.add_typer(people, name="people")
app.add_typer(plans, name="plan")
app.add_typer(receipts, name="receipt")
app.add_typer(reports, name="report")
app.command()(enrol)
app.command()(overrides)
app.command()(revoke)
app.add_typer(drift, name="drift")
app.add_typer(settings, name="settings")
app.add_typer(tokens, name="token")
app.add_typer(snapshots, name="snapshot")
app.add_typer(outlets, name="outlet")
app.add_typer(outputs, name="output")
app.add_typer(visits, name="visit")
app.command()(reset)
app.add_typer(visit_sheets, name="visit-sheet")
app.command("virtual-receiver")(virtual_receiver)


def main() -> None:
    """Run the command that the arguments name."""
    app()
