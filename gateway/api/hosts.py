"""Which hosts the gateway answers to, and the headers that every answer has.

The Host allow-list stops DNS rebinding: a page elsewhere can make a name of its own point at this gateway, and a
browser then lets that page read the answers; but the Host it sends is still that foreign name. It holds for every
route and method (RFC 9110, 15.5.20 gives 421). The headers are those of the OWASP secure headers list that mean
something for an API.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from aiohttp import web

from gateway.api.faults import RequestFault

__all__ = ["ALWAYS_ALLOWED", "host_middleware", "host_of", "set_headers"]

ALWAYS_ALLOWED = frozenset({"localhost", "127.0.0.1", "[::1]"})

_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
}


def host_of(text: str) -> str:
    """The host of a Host header, without its port, in lower case; empty when it isn't one."""
    if text.startswith("["):
        end = text.find("]")
        rest = text[end + 1 :]
        return text[: end + 1].lower() if end > 0 and (not rest or _is_port(rest)) else ""
    name, colon, port = text.partition(":")
    return name.lower().removesuffix(".") if not colon or _is_port(f":{port}") else ""


def host_middleware(allowed: Iterable[str]) -> Any:
    """A middleware that answers only requests for these hosts, and for this machine's own names."""
    hosts = ALWAYS_ALLOWED | {host_of(host) for host in allowed} - {""}

    @web.middleware
    async def check(request: web.Request, handler: Any) -> web.StreamResponse:
        asked = request.headers.getall("Host", [])
        if len(asked) != 1 or host_of(asked[0]) not in hosts or not _same_target(request, hosts):
            raise RequestFault(
                "host-not-allowed",
                "This gateway does not answer to the host name that was asked for.",
                remedy="Use one of the names in the setting of allowed hosts, or add this name there.",
            )
        response: web.StreamResponse = await handler(request)
        return response

    return check


async def set_headers(_: web.BaseRequest, response: web.StreamResponse) -> None:
    """Signal handler: what every answer carries; no word about the program that answers."""
    response.headers.pop("Server", None)
    response.headers.setdefault("Cache-Control", "no-store")
    for name, text in _HEADERS.items():
        response.headers.setdefault(name, text)


def _same_target(request: web.Request, hosts: frozenset[str]) -> bool:
    """RFC 9112, 3.2.2: a host in the request target replaces the Host header."""
    host = request.url.host or ""
    return host_of(f"[{host}]" if ":" in host else host) in hosts


def _is_port(text: str) -> bool:
    return text.startswith(":") and text[1:].isascii() and (text[1:].isdigit() or text == ":")
