"""Who asks: the holder of a token, or a process on the board."""

from __future__ import annotations

from dataclasses import dataclass

from aiohttp import web

from gateway.api.scopes import Scope

__all__ = ["CALLER", "Caller", "caller_of"]


@dataclass(frozen=True, slots=True)
class Caller:
    """`name` stands in the audit: `token:<id>` or `local:<uid>`. `token_id` is empty for a local process.

    `session` is the key of the session that the request came with, empty for any other caller.
    """

    name: str
    scopes: frozenset[Scope]
    token_id: str = ""
    session: str = ""

    def may(self, scope: Scope) -> bool:
        """Whether one of the scopes held contains this one."""
        return scope in self.scopes


CALLER: web.RequestKey[Caller] = web.RequestKey("caller", Caller)


def caller_of(request: web.Request) -> Caller:
    """The caller that authentication has found."""
    return request[CALLER]
