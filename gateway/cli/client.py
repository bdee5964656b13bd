"""The client that commands use: the one of `gateway.api.client`, under the name that commands know it by."""

from __future__ import annotations

from urllib.parse import quote

from gateway.api.client import DEFAULT_SOCKET, ApiProblem, CannotReach, StreamEvent
from gateway.api.client import Client as ApiClient
from gateway.errors import NotFound

__all__ = ["DEFAULT_SOCKET", "ApiClient", "ApiProblem", "CannotReach", "StreamEvent", "part"]


def part(name: str) -> str:
    """A name or id that somebody typed, as one part of a path. Raises NotFound for what can be none."""
    if name.strip() in ("", ".", ".."):
        raise NotFound(f"There is nothing called “{name}”.", remedy="Names and ids have letters, digits and hyphens.")
    return quote(name, safe="")
