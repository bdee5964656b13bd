"""What a token may do: four scopes, some of which contain others.

`view` reads everything but personal data; `roster` also sees holders and changes who has access; `operate`
also works outputs; `admin` does everything.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum

__all__ = ["Scope", "widen"]


class Scope(StrEnum):
    """The names stand in tokens and in `WWW-Authenticate`."""

    VIEW = "view"
    ROSTER = "roster"
    OPERATE = "operate"
    ADMIN = "admin"


_CONTAINS = {
    Scope.VIEW: frozenset({Scope.VIEW}),
    Scope.ROSTER: frozenset({Scope.ROSTER, Scope.VIEW}),
    Scope.OPERATE: frozenset({Scope.OPERATE, Scope.VIEW}),
    Scope.ADMIN: frozenset(Scope),
}


def widen(scopes: Iterable[str]) -> frozenset[Scope]:
    """Every scope that these contain. Names that are no scope (from a newer program) give nothing."""
    known = [Scope(name) for name in scopes if name in Scope.__members__.values()]
    return frozenset().union(*(_CONTAINS[scope] for scope in known))
