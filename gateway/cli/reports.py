"""`report handover | access | retention`: the papers of a site, to print, to sign and to keep."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from gateway.cli.client import ApiClient
from gateway.cli.console import AsJson, console, fail, print_json
from gateway.cli.reaching import Reach, reaching
from gateway.errors import SettingsFault

__all__ = ["reports"]

reports = typer.Typer(
    help="Papers: the handover document, who has access to a gate, what is kept about people.", no_args_is_help=True
)


class Form(StrEnum):
    """What a paper comes as."""

    HTML = "html"
    CSV = "csv"
    JSON = "json"


_Form = Annotated[Form, typer.Option("--format", help="html prints well, csv opens in a spreadsheet, json is data.")]
_Out = Annotated[Path | None, typer.Option("--out", help="Write it there; left out: to standard output.")]
_Query = Mapping[str, str | int]
_Nameless = Annotated[bool, typer.Option("--without-names", help="Leave holders out; serials stay.")]


@reports.command("handover")
@reaching
def handover(
    daemon: Reach,
    form: _Form = Form.HTML,
    out: _Out = None,
    without_names: _Nameless = False,
    as_json: AsJson = False,
) -> None:
    """Write the handover document: receivers, gates, groups, who has what, cautions, signatures."""
    query: _Query = {"named": str(not without_names).lower()}
    body = _fetch("/reports/handover", Form.JSON if as_json else form, query, daemon)
    _hand_out(body, out, "The handover document")


@reports.command("access")
@reaching
def access(
    daemon: Reach,
    gate: Annotated[str, typer.Argument(help="The gate's name in the settings.")],
    form: _Form = Form.HTML,
    out: _Out = None,
    without_names: _Nameless = False,
    as_json: AsJson = False,
) -> None:
    """Write the list of who has access to a gate."""
    query: _Query = {"gate": gate, "named": str(not without_names).lower()}
    body = _fetch("/reports/access", Form.JSON if as_json else form, query, daemon)
    _hand_out(body, out, f"The access list of {gate}")


@reports.command("retention")
@reaching
def retention(daemon: Reach, as_json: AsJson = False) -> None:
    """Say what is kept about people at this site, and for how long; and the audit's seal, to be kept elsewhere."""

    async def work(client: ApiClient) -> Any:
        paper = await client.get("/reports/retention")
        return {**paper, "audit": (await client.get("/gateway"))["audit"]}

    paper = daemon.ask(work)
    if as_json:
        print_json(paper)
        return
    heading = paper["heading"]
    console.print(f"{heading['site']}, {heading['written']}: what is kept about people", markup=False)
    for row in paper["rows"]:
        setting = f" ({row['setting']})" if row["setting"] else ""
        console.print(f"  {row['what']}: {row['kept']}{setting}\n    in it: {row['holds']}", markup=False)
    if paper["audit"]:
        console.print(f"The audit stands at row {paper['audit']['number']}: {paper['audit']['hash']}", markup=False)


def _fetch(path: str, form: Form, query: _Query, daemon: Reach) -> bytes:
    place = path if form is Form.JSON else f"{path}.{form.value}"
    return daemon.ask(lambda client: client.download(place, **query))


def _hand_out(body: bytes, out: Path | None, what: str) -> None:
    if out is None:
        sys.stdout.buffer.write(body if body.endswith(b"\n") else body + b"\n")
        return
    try:
        out.write_bytes(body)
    except OSError as fault:
        fail(SettingsFault(f"{out} can't be written: {fault.strerror}.", remedy="Name a file in a folder of yours."))
    console.print(
        f"{what} is written to {out}. It holds personal data: keep it no longer than it is needed.", markup=False
    )
