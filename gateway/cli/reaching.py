"""The options that say where the daemon is: written once, and given to every command that asks it.

A command takes a `Reach` first and is decorated with `@reaching`; what people see are four options in its place.
"""

from __future__ import annotations

import functools
import inspect
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Annotated, Any, Concatenate, ParamSpec, TypeVar, get_type_hints

import typer

from gateway.cli.client import DEFAULT_SOCKET, ApiClient
from gateway.cli.console import ask, fail
from gateway.errors import GatepostError

__all__ = ["Reach", "reaching"]

P = ParamSpec("P")
T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Reach:
    """Where the daemon is, and with what right it is asked. Its fields are options of every command."""

    url: Annotated[
        str | None, typer.Option("--url", envvar="GATEPOST_URL", help="The API's address, when not on the board.")
    ] = None
    token_file: Annotated[
        Path | None, typer.Option("--token-file", envvar="GATEPOST_TOKEN_FILE", help="A file with the access token.")
    ] = None
    ca: Annotated[
        Path | None,
        typer.Option("--ca", envvar="GATEPOST_CA", help="A PEM file of the authority behind the API's certificate."),
    ] = None
    socket: Annotated[
        Path,
        typer.Option("--socket", envvar="GATEPOST_SOCKET", readable=False, help="The daemon's socket on this board."),
    ] = DEFAULT_SOCKET

    def ask(self, work: Callable[[ApiClient], Awaitable[T]]) -> T:
        """Run `work` with a client of the daemon; errors end the command with their exit code."""
        return ask(work, url=self.url, token_file=self.token_file, socket=self.socket, ca=self.ca)


def reaching(command: Callable[Concatenate[Reach, P], T]) -> Callable[..., T]:
    """The same command with a `Reach`'s options instead of one; what it expects to fail ends it with a sentence."""
    first, *rest = inspect.signature(command, eval_str=True).parameters.values()
    if first.annotation is not Reach:
        raise TypeError(f"{command.__name__} does not take a Reach first")
    hints = get_type_hints(Reach, include_extras=True)
    options = [
        inspect.Parameter(
            field.name, inspect.Parameter.KEYWORD_ONLY, default=field.default, annotation=hints[field.name]
        )
        for field in fields(Reach)
    ]

    whole: Callable[..., T] = command

    @functools.wraps(command)
    def run(**given: Any) -> T:
        reach = Reach(**{field.name: given.pop(field.name) for field in fields(Reach)})
        try:
            return whole(reach, **given)
        except GatepostError as error:
            fail(error)

    parameters = [each.replace(kind=inspect.Parameter.KEYWORD_ONLY) for each in rest] + options
    run.__signature__ = inspect.Signature(parameters)  # type: ignore[attr-defined]
    run.__annotations__ = {each.name: each.annotation for each in parameters}
    return run
