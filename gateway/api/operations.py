"""One operation of the API, as the router and the OpenAPI document both need it."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass

from aiohttp import web
from pydantic import BaseModel

from gateway.api.scopes import Scope

__all__ = ["LINE_PROBLEMS", "READING_PROBLEMS", "Handler", "Operation"]

LINE_PROBLEMS = (
    "no-answer", "link-lost", "port-unavailable", "broken-answer", "receiver-refused", "wrong-receiver",
)  # fmt: skip
"""What an operation that asks a receiver can meet."""

READING_PROBLEMS = ("not-found", "refused", "unsupported", *LINE_PROBLEMS)
"""What an operation that reads a whole receiver, or writes to it by a rule, can meet."""

Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


@dataclass(frozen=True, slots=True)
class Operation:
    """A method at a path.

    `scope` None means open to all. `problems` are codes beside those that every operation can have. `others` are
    further statuses with the same answer. `repeatable` operations take an `Idempotency-Key`; `conditional` ones
    answer with an ETag and take `If-None-Match`; `guarded` ones need `If-Match`. `strict` ones are repeatable, and an
    error that leaves open whether it was done uses their key up: what moves a gate must not move it twice. `keyed` ones
    take the key too and judge it themselves.
    """

    id: str
    method: str
    path: str
    summary: str
    tag: str
    scope: Scope | None
    handler: Handler
    query: type[BaseModel] | None = None
    body: type[BaseModel] | None = None
    body_required: bool = True
    body_types: tuple[str, ...] = ("application/json",)
    answer: type[BaseModel] | None = None
    answer_type: str = "application/json"
    status: int = 200
    others: tuple[int, ...] = ()
    problems: tuple[str, ...] = ()
    repeatable: bool = False
    strict: bool = False
    keyed: bool = False
    conditional: bool = False
    guarded: bool = False
    located: bool = False
    streams: bool = False
