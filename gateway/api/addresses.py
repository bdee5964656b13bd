"""Where a request comes from, for counting: the peer, or whom our own proxy names.

`X-Forwarded-For` is believed only when the settings say that a proxy stands in front, and of it only the last
address, which is the one that this proxy has written; everything before it came from the client and may be made up.
"""

from __future__ import annotations

import ipaddress

from aiohttp import web

from gateway.api.context import context_of

__all__ = ["client_address"]


def client_address(request: web.Request) -> str:
    """An IP address, or `local` for the unix socket."""
    peer = request.remote or "local"
    if peer == "local" or not context_of(request).behind_proxy:
        return peer
    named = ",".join(request.headers.getall("X-Forwarded-For", [])).rpartition(",")[2].strip()
    try:
        return str(ipaddress.ip_address(named.strip("[]")))
    except ValueError:
        return peer
