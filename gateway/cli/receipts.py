"""`receipt list | show | key | verify`: what was proven when, for whoever wants to see it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any

import typer

from gateway.cli.client import ApiClient, part
from gateway.cli.console import (
    REFUSED,
    AsJson,
    console,
    fail,
    local_time,
    print_json,
    tell_error,
)
from gateway.cli.reaching import Reach, reaching
from gateway.cli.serials import full_serial
from gateway.cli.words import counted
from gateway.domain.receipt import revoked_digest
from gateway.domain.transmitter import write_serial
from gateway.errors import GatepostError, Refused, SettingsFault

__all__ = ["receipts"]

receipts = typer.Typer(
    help="Receipts: signed statements of what a receiver's memory was proven to hold.", no_args_is_help=True
)
_SHOWN = 50


@receipts.command("list")
@reaching
def list_(
    daemon: Reach,
    receiver: Annotated[str | None, typer.Option("--receiver", help="Only of this receiver.")] = None,
    limit: Annotated[int, typer.Option("--limit", min=1, max=500, help="How many at most, newest first.")] = _SHOWN,
    as_json: AsJson = False,
) -> None:
    """List the newest receipts."""
    query: dict[str, str | int] = {"limit": limit} | ({"receiver": receiver} if receiver else {})

    async def work(client: ApiClient) -> dict[str, Any]:
        found: dict[str, Any] = await client.get("/receipts", **query)
        if receiver and not found["receipts"]:
            await client.get(f"/receivers/{part(receiver)}")  # none of that name is another matter than none yet
        return found

    page = daemon.ask(work)
    if as_json:
        print_json(page["receipts"])
        return
    if not page["receipts"]:
        there = f" of {receiver}" if receiver else ""
        console.print(
            f"There are no receipts{there} yet. One is made whenever a receiver was brought to the roster, and after "
            "each revocation, restore, clone and enrolment; what is done by hand is not proven and has none."
        )
    for row in page["receipts"]:
        console.print(_row_sentence(row), markup=False)
    if page["next"]:
        console.print(f"Older ones: gatepost receipt list --limit {min(500, limit * 2)}")


@receipts.command("show")
@reaching
def show(
    daemon: Reach,
    receipt: Annotated[str, typer.Argument(help="The receipt's id.")],
    out: Annotated[Path | None, typer.Option("--out", help="Write the file there, to hand it on.")] = None,
    as_json: AsJson = False,
) -> None:
    """Show a receipt, or export its file, which names no person and no transmitter."""

    async def work(client: ApiClient) -> tuple[dict[str, Any], list[str]]:
        found = await client.get(f"/receipts/{part(receipt)}")
        gone = found["receipt"].get("done") == "revocation"
        return found, await _salted(client, receipt) if gone else []

    found, salted = daemon.ask(work)
    if out is not None:
        _write(out, json.dumps(found, ensure_ascii=False, indent=1) + "\n")
        console.print(
            f"{receipt} is written to {out}. Anybody can check it: gatepost receipt verify {out} --public-key KEY.pem",
            markup=False,
        )
    elif as_json:
        print_json(found)
    else:
        _print_receipt(found["receipt"])
        for each in salted:
            console.print(
                f"  to show somebody that {each.partition(':')[0]} is one of them, hand on: {each}", markup=False
            )


async def _salted(client: ApiClient, receipt: str) -> list[str]:
    """What the events of the newest proofs tell of this receipt: SERIAL:SALT of each transmitter."""
    events = (await client.get("/events", name="revocation.applied", limit=500))["events"]
    told = [event["data"] for event in events if event["data"].get("receipt") == receipt]
    return sorted(f"{data['serial']}:{data['salt']}" for data in told)


@receipts.command("key")
@reaching
def key(
    daemon: Reach,
    out: Annotated[Path | None, typer.Option("--out", help="Write the key in use there, as a PEM file.")] = None,
    as_json: AsJson = False,
) -> None:
    """Show the public key that verifies this gateway's receipts, and those that were in use before."""
    keys = daemon.ask(lambda client: client.get("/receipts/keys"))["keys"]
    if out is not None:
        _write(out, next(one["pem"] for one in keys if one["current"]))
        console.print(f"The public key {keys[0]['id']} is written to {out}.", markup=False)
    elif as_json:
        print_json(keys)
    else:
        for one in keys:
            console.print(f"{one['id']}, {one['algorithm']}, {'in use' if one['current'] else 'was in use before'}:")
            console.print(one["pem"], markup=False, end="")


@receipts.command("verify")
def verify(
    file: Annotated[Path, typer.Argument(help="The receipt's file.")],
    public_key: Annotated[
        Path, typer.Option("--public-key", help="The gateway's public key: a PEM file, or one with its 64 hex digits.")
    ],
    revoked: Annotated[
        str | None,
        typer.Option(
            "--revoked",
            metavar="SERIAL:SALT",
            help="Also whether it proves this transmitter gone; the salt is in the event.",
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Check a receipt with nothing but the public key. Needs no daemon; a changed receipt ends with exit code 1."""
    serial, salt = _serial_and_salt(revoked) if revoked is not None else (0, "")
    from gateway.store.receiptform import parse_receipt, verify as check  # noqa: I001, PLC0415 - only here
    from gateway.store.signingkey import parse_public_key  # noqa: PLC0415 - other commands start without it

    try:
        try:
            known = parse_public_key(_read(public_key).decode("utf-8"))
        except ValueError as fault:
            raise Refused(
                f"{public_key} holds no Ed25519 public key.",
                remedy="Take the gateway's with: gatepost receipt key --out KEY.pem",
                code="key-unreadable",
            ) from fault
        document = parse_receipt(_read(file))
        check(document, [known])
        if revoked is not None and revoked_digest(serial, salt) not in document["receipt"].get("revoked", ()):
            raise Refused(
                f"The receipt is good, but says nothing of transmitter {write_serial(serial)} with this salt.",
                remedy="Serial and salt stand in the event revocation.applied that names this receipt.",
                code="not-in-receipt",
            )
    except Refused as refusal:
        if as_json:
            print_json({"ok": False, "code": refusal.code, "problem": refusal.message, "remedy": refusal.remedy})
        else:
            tell_error(refusal, str(file))
        raise typer.Exit(REFUSED) from None
    except GatepostError as error:
        fail(error)
    if as_json:
        print_json({"ok": True, **document})
    else:
        console.print(f"Good: signed with the key {document['receipt']['key']} and unchanged since.", markup=False)
        if revoked is not None:
            console.print(
                f"Transmitter {write_serial(serial)} is one of those that it proves to be gone.", markup=False
            )
        _print_receipt(document["receipt"])


def _serial_and_salt(text: str) -> tuple[int, str]:
    digits, _, salt = text.partition(":")
    if not re.fullmatch("[0-9a-f]{32}", salt):
        raise typer.BadParameter("write the serial, a colon and the 32 hex digits of the salt", param_hint="--revoked")
    return int(full_serial(digits)), salt


def _row_sentence(row: dict[str, Any]) -> str:
    if row["time"] is None:
        return f"{row['id']}  DAMAGED: {row['fault']}"
    doubt = "" if row["clock_trusted"] else " (by a clock that was not known to be right)"
    written = f"{counted(row['written'], 'slot')} written" if row["written"] else "nothing to write"
    if row["done"] == "revocation":
        freed = f"{counted(row['written'], 'slot')} freed" if row["written"] else "it was in no slot"
        written = f"{counted(row['revoked'], 'transmitter')} gone, {freed}"
    roster = f"{'equal' if row['equal'] else 'not equal'} to roster {row['roster_digest'][:12]}"
    fault = f"  NOT TO BE BELIEVED: {row['fault']}" if row["fault"] else ""
    return (
        f"{row['id']}  {local_time(row['time'])}{doubt}  {row['done']}: {written}; then "
        f"{counted(row['transmitters'], 'transmitter')} at revision {row['revision']}, "
        f"{roster if row['roster_digest'] else 'no roster in force'}{fault}"
    )


def _print_receipt(statement: dict[str, Any]) -> None:
    receiver, memory, clock = statement["receiver"], statement["memory"], statement["clock"]
    doubt = "" if clock["trusted"] else ", by a clock that was not known to be right"
    lines = [
        f"Receipt {statement['number']} of {statement['site']}: {local_time(clock['time'])}{doubt}",
        f"  {receiver['name']}: {receiver['maker']} {receiver['product']} {receiver['version']}, "
        f"serial {receiver['serial']}, map {receiver['map_name']} {receiver['map_version']}",
        *(f"  {words}" for words in _done_words(statement)),
        f"  {counted(memory['transmitters'], 'transmitter')} at revision {memory['revision']}, "
        f"{counted(len(memory['block_crc32']), 'block')} proven by CRC-32",
    ]
    left = statement["plan"]["not_done"]
    if left:
        lines.append(f"  {counted(left, 'thing')} left out by rule (revoked, undated, not of the kind)")
    console.print("\n".join(lines), markup=False)


def _done_words(statement: dict[str, Any]) -> Iterator[str]:
    done, plan, roster = statement.get("done", "sync"), statement["plan"], statement["roster"]
    name = _roster_name(roster) if roster is not None else ""
    equal = roster is not None and roster.get("equal", True)
    written = f"{counted(plan['written'], 'slot')} written" if plan["written"] else "nothing had to be written"
    planned = f" ({plan['id']})" if plan["id"] else ""
    match done:
        case "sync":
            yield f"sync: it held exactly what the roster {name} wants of it; {written}{planned}"
            return
        case "revocation":
            gone = counted(len(statement["revoked"]), "revoked transmitter")
            yield f"revocation: {gone} proven gone; {written.replace('written', 'freed')}"
        case "enrolment":
            yield f"enrolment: transmitters work before the roster has them; {written}{planned}"
        case _:
            yield f"{done} of the snapshot {statement['snapshot'] or '(not named)'}; {written}{planned}"
    if roster is None:
        yield "no roster was in force"
    else:
        yield f"it {'held exactly what' if equal else 'did not hold all that'} the roster {name} wants of it"


def _roster_name(roster: dict[str, Any]) -> str:
    numbered = f", signed as revision {roster['revision']}," if roster["revision"] is not None else ""
    return f"{roster['digest']}{numbered}"


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as fault:
        raise SettingsFault(
            f"{path} can't be read: {fault.strerror}.", remedy="Check the path and its rights."
        ) from fault


def _write(path: Path, text: str) -> None:
    try:
        path.write_text(text, "utf-8")
    except OSError as fault:
        raise SettingsFault(f"{path} can't be written: {fault.strerror}.", remedy="Name another file.") from fault
