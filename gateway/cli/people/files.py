"""`people export | import | restore | history`: the kept roster as files, and who changed what."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from gateway.cli.client import ApiClient, ApiProblem
from gateway.cli.console import AsJson, console, local_time, print_json
from gateway.cli.people.outcomes import Apply, make_edit
from gateway.cli.reaching import Reach, reaching
from gateway.errors import Refused, SettingsFault
from gateway.roster.file_source import MAX_BYTES

__all__ = ["export", "history", "import_", "restore", "write_pair"]

_FILES = "/roster/files"
_SHOWN = 12  # changes of one edit; a whole file may have hundreds
_Preview = Annotated[bool, typer.Option("--preview", help="Only say what it would change.")]


class Form(StrEnum):
    """What an export is written as."""

    CSV = "csv"
    XLSX = "xlsx"
    ODS = "ods"


@reaching
def export(
    daemon: Reach,
    folder: Annotated[Path, typer.Argument(help="The folder to write into.")],
    form: Annotated[
        Form,
        typer.Option(
            "--as", help="csv: roster.csv and groups.toml as they are kept; xlsx or ods: one workbook of both."
        ),
    ] = Form.CSV,
    revision: Annotated[int, typer.Option("--revision", help="Which edit's files; the newest without.")] = 0,
    replace: Annotated[bool, typer.Option("--replace", help="Replace files that are there.")] = False,
) -> None:
    """Write the kept roster as files; they serve as central file as they are."""

    async def work(client: ApiClient) -> tuple[dict[str, bytes], int]:
        edits = await client.get("/roster/edits", limit=1)
        number = revision or (edits["edits"][0]["number"] if edits["edits"] else 0)
        name = f"roster.{form}"
        files = {name: await client.download(f"{_FILES}/{name}", revision=number)}
        if form is Form.CSV and (groups := await _groups(client, number)) is not None:
            files["groups.toml"] = groups
        _write(folder, files, replace=replace)
        return files, number

    files, number = daemon.ask(work)
    places = " and ".join(str(folder / name) for name in files)
    console.print(f"Wrote revision {number} to {places}.", markup=False)


async def _groups(client: ApiClient, revision: int) -> bytes | None:
    try:
        return await client.download(f"{_FILES}/groups.toml", revision=revision)
    except ApiProblem as problem:
        if problem.code != "not-found":
            raise
        return None


def write_pair(folder: Path, roster: bytes, groups: bytes | None, *, replace: bool) -> None:
    """Write both files. Raises Refused when one is there and may not be replaced, or can't be written."""
    _write(folder, {"roster.csv": roster} | ({"groups.toml": groups} if groups is not None else {}), replace=replace)


def _write(folder: Path, files: Mapping[str, bytes], *, replace: bool) -> None:
    paths = {folder / name: content for name, content in files.items()}
    for path in paths:
        if path.exists() and not replace:
            remedy = "Choose another folder, or use --replace."
            raise Refused(f"{path} exists already.", remedy=remedy, code="file-exists")
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path, content in paths.items():
            path.write_bytes(content)
    except OSError as fault:
        remedy = "Choose a folder that you may write to."
        raise Refused(f"{folder} can't be written: {fault.strerror}.", remedy=remedy, code="file-failed") from fault


@reaching
def import_(
    daemon: Reach,
    roster: Annotated[Path, typer.Argument(help="The roster file: a CSV, an XLSX or an ODS.")],
    groups: Annotated[
        Path | None, typer.Option("--groups", help="The groups file; not where a workbook has them as sheets.")
    ] = None,
    based_on: Annotated[
        int, typer.Option("--based-on", help="The revision that was exported; refused when there are later edits.")
    ] = 0,
    preview: _Preview = False,
    apply: Apply = False,
    as_json: AsJson = False,
) -> None:
    """Put whole files in place of the kept roster; refused as a whole with every fault."""
    _one_of(preview, apply)

    async def edit(client: ApiClient) -> Any:
        parts = {"roster": _bytes(roster)} | ({"groups": _bytes(groups)} if groups is not None else {})
        try:
            tag = await client.tag(f"{_FILES}/roster.csv", revision=based_on)
        except ApiProblem as problem:
            if problem.code != "not-found" or based_on:
                raise
            tag = ""
        try:
            return await _put(client, parts, tag, preview=preview)
        except ApiProblem as problem:
            if problem.code != "precondition-failed":
                raise
            raise _later_edits(based_on) from problem

    make_edit(edit, apply=apply, daemon=daemon, as_json=as_json, preview=preview)


@reaching
def restore(
    daemon: Reach,
    revision: Annotated[int, typer.Argument(help="The edit after which it was as it is to be again.", min=1)],
    preview: _Preview = False,
    apply: Apply = False,
    as_json: AsJson = False,
) -> None:
    """Bring the kept roster back to an older revision, as a new one. Revocations stay."""
    _one_of(preview, apply)

    async def edit(client: ApiClient) -> Any:
        parts = {"roster": await client.download(f"{_FILES}/roster.csv", revision=revision)}
        if (groups := await _groups(client, revision)) is not None:
            parts["groups"] = groups
        return await _put(client, parts, await client.tag(f"{_FILES}/roster.csv"), preview=preview)

    make_edit(edit, apply=apply, daemon=daemon, as_json=as_json, preview=preview)


async def _put(client: ApiClient, parts: Mapping[str, bytes], tag: str, *, preview: bool) -> Any:
    query = {"preview": "true"} if preview else None
    return await client.upload("PUT", _FILES, parts, query=query, headers={"If-Match": tag} if tag else None)


def _one_of(preview: bool, apply: bool) -> None:
    if preview and apply:
        raise typer.BadParameter("--preview only looks; leave out --apply")


@reaching
def history(
    daemon: Reach,
    limit: Annotated[int, typer.Option("--limit", help="How many edits.", min=1, max=500)] = 20,
    as_json: AsJson = False,
) -> None:
    """Say who changed what and when, newest first."""

    async def work(client: ApiClient) -> Any:
        return (await client.get("/roster/edits", limit=limit))["edits"]

    found = daemon.ask(work)
    if as_json:
        print_json(found)
        return
    for each in found:
        console.print(f"{each['number']}  {local_time(each['time'])}  {each['who']}, {each['how']}", markup=False)
        for words in each["words"][:_SHOWN]:
            console.print(f"    {words}", markup=False)
        if len(each["words"]) > _SHOWN:
            console.print(f"    and {len(each['words']) - _SHOWN} changes more; --json shows them")
    if not found:
        console.print("Nobody has edited anything yet.")


def _later_edits(based_on: int) -> Refused:
    since = f"than revision {based_on}, which this file was made of" if based_on else "since the command was given"
    return Refused(
        f"There are later edits {since}; nothing was changed.",
        remedy="Look at them (gatepost people history), export anew and make the change there; "
        "without --based-on the file takes the place of whatever is kept.",
        code="precondition-failed",
    )


def _bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            content = file.read(MAX_BYTES + 1)
    except OSError as fault:
        raise SettingsFault(f"{path} can't be read: {fault.strerror}.", remedy="Name a file that is there.") from fault
    if len(content) > MAX_BYTES:
        raise Refused(
            f"{path} is larger than {MAX_BYTES >> 20} MiB.",
            remedy="Name the roster file; no roster is that large.",
            code="roster-refused",
        )
    return content
