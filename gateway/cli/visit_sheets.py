"""`visit-sheet show | tick | undo | holds`: receivers that no line reaches, worked by hand.

The sheet is printed as plain text that fits on paper; lines are ticked by their numbers, which never change.
"""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Annotated, Any

import typer

from gateway.cli.client import ApiClient, part
from gateway.cli.console import AsJson, console, fail, local_time, print_json
from gateway.cli.reaching import Reach, reaching
from gateway.errors import GatepostError, Refused, SettingsFault

__all__ = ["visit_sheets"]

visit_sheets = typer.Typer(
    help="Receivers that no line reaches: what to do at the board, ticked line by line.", no_args_is_help=True
)
_Receiver = Annotated[str, typer.Argument(help="The receiver's name.")]
_Lines = Annotated[list[str], typer.Argument(help="Line numbers, such as 3 4 7-12.")]
_BOXES = {"open": "[ ]", "ticked": "[x]", "withdrawn": "[-]"}
_MOST = 2000


@visit_sheets.command("show")
@reaching
def show(
    daemon: Reach,
    receiver: _Receiver,
    as_json: AsJson = False,
) -> None:
    """Show what is to be done at the board and what was ticked, ready for paper."""
    sheet = daemon.ask(lambda client: client.get(f"/receivers/{part(receiver)}/visit-sheet"))
    if as_json:
        print_json(sheet)
    else:
        _print_sheet(sheet)


def _print_sheet(sheet: dict[str, Any]) -> None:
    console.print(f"Visit sheet of {sheet['receiver']}, {sheet['site']}, {local_time(sheet['printed'])}", markup=False)
    counts = sheet["counts"]
    if counts["owed"]:
        console.print(f"OWED: {counts['owed']} revoked, and working until somebody has been there.", markup=False)
    for line in sheet["lines"]:
        _print_line(line)
    if sheet["problem"]:
        console.print(f"{sheet['problem']} {sheet['remedy']}", markup=False)
    elif not counts["open"]:
        console.print("Nothing is open.")
    for words in sheet["left_out"]:
        console.print(f"not on the sheet: {words}", markup=False)
    if sheet["held"]:
        console.print(
            f"Removals wait for approval ({sheet['held']}) and are not on the sheet: "
            f"gatepost roster apply --receiver {sheet['receiver']} --approve", markup=False,
        )  # fmt: skip


@visit_sheets.command("tick")
@reaching
def tick(
    daemon: Reach,
    receiver: _Receiver,
    lines: _Lines,
    done_by: Annotated[str, typer.Option("--done-by", help="Who did it, when not who enters it.")] = "",
    as_json: AsJson = False,
) -> None:
    """Say that lines were done by hand. They are recorded as that, not as proven."""
    body = {"done_by": done_by}
    done = daemon.ask(lambda client: _each(client, "PUT", receiver, lines, body))
    _print_lines(done, as_json)


@visit_sheets.command("undo")
@reaching
def undo(
    daemon: Reach,
    receiver: _Receiver,
    lines: _Lines,
    as_json: AsJson = False,
) -> None:
    """Take ticks back: these lines were not done after all."""
    done = daemon.ask(lambda client: _each(client, "DELETE", receiver, lines, None))
    _print_lines(done, as_json)


async def _each(client: ApiClient, method: str, receiver: str, lines: list[str], body: object) -> list[dict[str, Any]]:
    """One request for each line; each is durable on its own, so a cut in between loses none that was answered."""
    done: list[dict[str, Any]] = []
    for number in _numbers(lines):
        try:
            done.append(await client.send(method, f"/receivers/{part(receiver)}/visit-sheet/lines/{number}/tick", body))
        except GatepostError:
            _print_lines(done, as_json=False)
            raise
    return done


def _numbers(texts: list[str]) -> list[int]:
    """Single numbers and ranges, in the order given."""
    found: list[int] = []
    for text in texts:
        match = re.fullmatch(r"(\d{1,9})(?:-(\d{1,9}))?", text)
        if match is None:
            raise typer.BadParameter(f"“{text}”: write line numbers, for example 3 4 7-12")
        first, last = int(match[1]), int(match[2] or match[1])
        if last < first or last - first >= _MOST:
            raise typer.BadParameter(f"“{text}”: write the smaller number first, and at most {_MOST} at once")
        found += range(first, last + 1)
    return found


def _print_lines(lines: list[dict[str, Any]], as_json: bool) -> None:
    if as_json:
        print_json(lines)
        return
    for line in lines:
        _print_line(line)


def _print_line(line: dict[str, Any]) -> None:
    """With who ticked it: whoever ticks it once more sees that somebody else did."""
    console.print(f"{_BOXES[line['state']]} {line['number']:>4}  {line['words']}", markup=False)
    if line["state"] == "withdrawn":
        console.print("          no longer wanted; tick it if it was done all the same", markup=False)
    if tick := line["tick"]:
        who = tick["done_by"] or tick["asked_by"]
        console.print(f"          done by hand by {who}, {local_time(tick['time'])}; not proven", markup=False)


@visit_sheets.command("holds")
@reaching
def holds(
    daemon: Reach,
    receiver: _Receiver,
    empty: Annotated[bool, typer.Option("--empty", help="It holds nothing.")] = False,
    from_file: Annotated[
        Path | None, typer.Option("--from", help="A list in a roster's form (CSV), or a snapshot's file (JSON).")
    ] = None,
    groups: Annotated[Path | None, typer.Option("--groups", help="The group file of such a list.")] = None,
    transmitter: Annotated[
        list[str] | None,
        typer.Option("--transmitter", help='“SERIAL POSITION:OUTPUT ...”, for example "0048231907 1:gate 2:hoist".'),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Say what the receiver holds: before the first visit, or after somebody counted. Replaces what was known."""
    if sum((empty, from_file is not None, bool(transmitter))) != 1:
        raise typer.BadParameter("give one of --empty, --from and --transmitter")
    path = f"/receivers/{part(receiver)}/holdings"

    async def work(client: ApiClient) -> Any:
        if from_file is None:
            typed = [_typed(text) for text in transmitter or ()]
            return await client.send("PUT", path, {"transmitters": typed} if typed else {"empty": True})
        content = _read(from_file)
        if content.lstrip()[:1] == b"{":
            kept = await client.send("POST", "/snapshots", _document(content, from_file))
            return await client.send("PUT", path, {"snapshot": kept["id"]})
        return await client.upload("PUT", path, {"roster": content, **({"groups": _read(groups)} if groups else {})})

    sheet = daemon.ask(work)
    if as_json:
        print_json(sheet)
        return
    console.print(f"Taken as what {receiver} holds. {sheet['counts']['open']} lines are open:", markup=False)
    _print_sheet(sheet)


def _typed(text: str) -> dict[str, Any]:
    serial, *rights = text.split()
    outputs: dict[str, list[str]] = {}
    for right in rights:
        position, colon, output = right.partition(":")
        if not (colon and position and output):
            raise typer.BadParameter(f"“{right}”: write POSITION:OUTPUT, for example 1:gate")
        outputs.setdefault(position, []).append(output)
    if not (serial.isascii() and serial.isdigit() and len(serial) <= 10):
        fail(Refused(f"“{serial}” is not a serial.", remedy="Write up to ten decimal digits, as on the transmitter."))
    return {"serial": serial.zfill(10), "outputs": outputs}


def _document(content: bytes, path: Path) -> Any:
    try:
        return json.loads(content)
    except ValueError:
        fail(Refused(f"{path} is neither a list nor a snapshot's file.", remedy="Export the snapshot again."))


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as fault:
        fail(SettingsFault(f"{path} can't be read: {fault.strerror}.", remedy="Check its path and rights."))
