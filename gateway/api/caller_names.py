"""Who asked, for people: what is kept is `token:<id>` or `local:<uid>`, which says nothing to a reader."""

from __future__ import annotations

from collections.abc import Mapping

from gateway.api.services import Services

__all__ = ["called", "caller_names"]


def caller_names(services: Services) -> Mapping[str, str]:
    """The names of the tokens that there are now, by what is kept of whoever asked with them."""
    return {f"token:{token.id}": token.name for token in services.tokens.list()}


def called(kept: str, names: Mapping[str, str]) -> str:
    """By name; a token that was removed by its id; whoever worked on the gateway's own board as the user there."""
    if kept == "local:0":
        return "root on the gateway"
    return names.get(kept) or kept.replace("local:", "user ").replace("token:", "token ")
