"""`people forget`: a person who has left is taken out of everything that this gateway keeps."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Annotated

import typer

from gateway.cli.console import AsJson, console, fail, print_json
from gateway.cli.reaching import Reach, reaching
from gateway.cli.serials import full_serial
from gateway.errors import Refused

__all__ = ["forget"]

_WORDS = (
    ("presses", "presses removed"),
    ("events", "other events"),
    ("plans", "plans"),
    ("history", "rows of the past"),
    ("ledger", "lines of the ledger"),
    ("snapshots", "snapshots"),
    ("audit", "rows of the audit"),
    ("files", "old copies removed"),
)


@reaching
def forget(
    daemon: Reach,
    who: Annotated[str, typer.Argument(help="The name as the roster had it, or a transmitter's serial.")],
    yes: Annotated[bool, typer.Option("--yes", help="Don't ask.")] = False,
    as_json: AsJson = False,
) -> None:
    """Forget a person who has left: names and presses go from everything kept here; revocations stay. No way back."""
    meant = {"serial": full_serial(who)} if who.isascii() and who.isdigit() else {"holder": who}
    if not yes:
        seen = daemon.ask(lambda client: client.send("POST", "/forgettings", meant, query={"preview": "true"}))
        _confirm(who, seen["serials"])
    done = daemon.ask(lambda client: client.send("POST", "/forgettings", meant))
    if as_json:
        print_json(done)
        return
    serials = ", ".join(done["serials"])
    counts = ", ".join(f"{done[key]} {words}" for key, words in _WORDS if done[key]) or "nothing was kept of them"
    console.print(f"Forgotten ({serials}): {counts}.", markup=False)
    left = [serial for serial in done["serials"] if serial not in done["revoked"]]
    if done["revoked"]:
        console.print(f"Still revoked: {', '.join(done['revoked'])}.")
    if left:
        console.print(
            f"Not revoked: {', '.join(left)}. If it must never work again, even after a restore: gatepost revoke SERIAL"
        )
    console.print("Outside this gateway (papers, webhooks, mail, backups, the central roster) it can take out nothing.")


def _confirm(who: str, serials: Sequence[str]) -> None:
    """Ask about somebody who can be forgotten. Without a terminal nobody can answer, so --yes has to say it."""
    carried = f" (transmitter{'s' if serials[1:] else ''} {', '.join(serials)})"
    if not sys.stdin.isatty():
        fail(Refused("Nothing is done: nobody was asked.", remedy="There is no way back. If you mean it, say --yes."))
    typer.confirm(
        f"Take {who}{carried} out of everything that this gateway keeps? There is no way back.", abort=True, err=True
    )
