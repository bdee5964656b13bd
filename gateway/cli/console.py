"""How commands speak: plain sentences and tables for people, JSON when asked, one door for errors."""

from __future__ import annotations

import asyncio
import json
import os
import re
import sys
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Annotated, NoReturn, TypeVar

import typer

from gateway.cli.client import DEFAULT_SOCKET, ApiClient, ApiProblem, CannotReach
from gateway.cli.patience import with_patience
from gateway.cli.screen import Screen
from gateway.errors import GatepostError, LineError, MapFault, SettingsFault, SourceError

__all__ = [
    "AsJson",
    "SocketOption",
    "TokenFile",
    "Url",
    "answered",
    "ask",
    "console",
    "exit_code",
    "fail",
    "local_time",
    "print_json",
    "tell_aside",
    "tell_error",
]

console = Screen(highlight=False, soft_wrap=True)
_errors = Screen(stderr=True, highlight=False, soft_wrap=True)

Url = Annotated[
    str | None, typer.Option("--url", envvar="GATEPOST_URL", help="The API's address, when not on the board.")
]
TokenFile = Annotated[
    Path | None, typer.Option("--token-file", envvar="GATEPOST_TOKEN_FILE", help="A file that holds the access token.")
]
SocketOption = Annotated[
    Path,
    typer.Option("--socket", envvar="GATEPOST_SOCKET", readable=False, help="The daemon's socket on this board."),
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON for programs.")]

DONE, REFUSED, USAGE, UNREACHABLE = 0, 1, 2, 3
#: Codes of the daemon's answers that tell of something that it can't reach itself: docs/api.md lists all.
_UNREACHABLE_CODES = frozenset(
    {
        "broken-answer", "link-lost", "no-answer", "operation-unknown", "port-busy", "port-denied", "port-failed",
        "port-missing", "port-unavailable", "roster-unreachable",
    }
)  # fmt: skip
#: Wrong usage that only the daemon can see: the command line gave something that can never be right.
_USAGE_CODES = frozenset({"body-invalid", "query-invalid", "route-not-found"})
_ONE_LINE = "It is one line that begins with gp_; `gatepost token add`, given on the board, makes one."
_MAKE_ONE = "Name a file that holds one with --token-file; `gatepost token add`, given on the board, makes one."
_AGAIN = "Correct that and give the command again; with --help it says what it takes."
#: Problems whose words are for clients of the API: what a person at a command line is told instead; empty: as it is.
_IN_A_COMMAND: dict[str, tuple[str, str]] = {
    "token-missing": ("", _MAKE_ONE),
    "token-invalid": ("", _MAKE_ONE),
    "body-invalid": ("Something in the command can't be right.", _AGAIN),
    "query-invalid": ("Something in the command can't be right.", _AGAIN),
    "route-not-found": ("There is nothing of that name.", _AGAIN),
    "roster-faulty": ("", "Correct that and give the command again."),
    "precondition-failed": (
        "Somebody else has changed it meanwhile.",
        "Look at it again, then give the command again.",
    ),
}
_T = TypeVar("_T")


def _is_usage(error: GatepostError) -> bool:
    """A problem that sends its reader to the OpenAPI document has nothing of its own to say about the command."""
    return isinstance(error, ApiProblem) and error.code in _USAGE_CODES and "openapi.json" in error.remedy


def exit_code(error: GatepostError) -> int:
    """The exit code that tells a script what kind of trouble it was."""
    if isinstance(error, SettingsFault | MapFault) or _is_usage(error):
        return USAGE
    if isinstance(error, LineError | SourceError | CannotReach):
        return UNREACHABLE
    if isinstance(error, ApiProblem) and error.code in _UNREACHABLE_CODES:
        return UNREACHABLE
    return REFUSED


def fail(error: GatepostError) -> NoReturn:
    """Say what happened and what to do, and end with the right exit code."""
    tell_error(error)
    raise typer.Exit(exit_code(error))


def tell_error(error: GatepostError, subject: str = "") -> None:
    """Say on standard error what happened, to whom, and what to do."""
    for_people = isinstance(error, ApiProblem) and (error.code not in _USAGE_CODES or _is_usage(error))
    message, remedy = _IN_A_COMMAND.get(error.code, ("", "")) if for_people else ("", "")
    message, remedy = message or error.message, remedy or error.remedy
    if subject and not message.startswith(subject):
        message = f"{subject}: {message}"
    _errors.print(message, style="bold", markup=False)
    for place in error.places if isinstance(error, ApiProblem) else ():
        _errors.print(f"  {place}", markup=False)
    if remedy:
        _errors.print(remedy, markup=False)


def tell_aside(words: str) -> None:
    """Say something on standard error, so that it never gets into JSON."""
    _errors.print(words, markup=False)


@contextmanager
def answered(otherwise: str) -> Iterator[None]:
    """A question is asked in the body; where it ends without an answer, `otherwise` says what became of it."""
    try:
        yield
    except typer.Abort:
        _errors.print(f"\n{otherwise}", markup=False)
        raise typer.Exit(REFUSED) from None


def local_time(stamp: str) -> str:
    """A time of the API as this machine's clock shows it, with its offset."""
    return datetime.fromisoformat(stamp).astimezone().strftime("%Y-%m-%d %H:%M:%S %z")


def print_json(document: object) -> None:
    """One JSON document on standard output."""
    sys.stdout.write(json.dumps(document, ensure_ascii=False, indent=2) + "\n")


def _read_token(token_file: Path | None) -> str | None:
    if token_file is not None:
        try:
            text = token_file.read_text("ascii").strip()
        except OSError as fault:
            raise SettingsFault(
                f"The token file {token_file} can't be read: {fault.strerror}.", remedy="Check its path and rights."
            ) from fault
        except UnicodeDecodeError as fault:
            raise SettingsFault(f"The token file {token_file} holds no token.", remedy=_ONE_LINE) from fault
        if not text or any(not 0x21 <= ord(char) <= 0x7E for char in text):
            raise SettingsFault(f"The token file {token_file} holds no token.", remedy=_ONE_LINE)
        return text
    text = os.environ.get("GATEPOST_TOKEN", "").strip()
    if any(not 0x21 <= ord(char) <= 0x7E for char in text):
        raise SettingsFault("GATEPOST_TOKEN holds no token.", remedy=_ONE_LINE)
    return text or None


def ask(
    work: Callable[[ApiClient], Awaitable[_T]],
    *,
    url: str | None = None,
    token_file: Path | None = None,
    socket: Path = DEFAULT_SOCKET,
    ca: Path | None = None,
) -> _T:
    """Run `work` with a client of the daemon; errors end the command with their exit code."""

    async def run() -> _T:
        if url is not None and not re.match(r"https?://[^/\s]", url):
            raise SettingsFault(
                f"“{url}” is no address of a gateway.", remedy="Write http://HOST:PORT or https://HOST:PORT."
            )
        async with ApiClient(url=url, token=_read_token(token_file), socket=socket, ca=ca) as client:
            return await with_patience(work, client, _errors)

    try:
        return asyncio.run(run())
    except GatepostError as error:
        fail(error)
    except KeyboardInterrupt:
        raise typer.Exit(DONE) from None
