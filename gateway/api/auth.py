"""Who may do what: bearer tokens (RFC 6750), the page's session cookie and, on the unix socket, the peer's uid.

A token comes in the Authorization header alone: never in the address, where it would end up in logs
(RFC 6750, 2.3 and 5.3). On the unix socket root, the gateway's own uid and those configured are `admin` without
a token, so that the first token needs none. A request that has a token is judged by the token there too.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Collection
from typing import Any

from aiohttp import web

from gateway.api.addresses import client_address
from gateway.api.caller import CALLER, Caller
from gateway.api.cookies import check_origin, cookie_of
from gateway.api.failures import Failures
from gateway.api.faults import RequestFault
from gateway.api.peer import peer_uid
from gateway.api.scopes import Scope, widen
from gateway.api.sessions import Sessions
from gateway.clock import Clock
from gateway.ports import Tokens

__all__ = ["auth_middleware"]

_BEARER = re.compile(r"bearer +([A-Za-z0-9\-._~+/]+=*)", re.IGNORECASE)  # RFC 6750, 2.1: b64token
_REALM = 'Bearer realm="gatepost"'
_REMEDY = "On the board: gatepost token add. Send the token as: Authorization: Bearer <token>."


def auth_middleware(
    *,
    tokens: Tokens,
    sessions: Sessions,
    clock: Clock,
    failures: Failures,
    local_uids: Collection[int],
    scope_of: Callable[[web.Request], Scope | None],
    refused: Callable[[], None],
) -> Any:
    """A middleware that finds the caller and refuses what its scopes don't contain.

    `scope_of` gives the scope that a request needs, None for open and for unknown addresses. `refused` is called
    for each wrong token.
    """

    @web.middleware
    async def authenticate(request: web.Request, handler: Any) -> web.StreamResponse:
        needed = scope_of(request)
        if needed is not None:
            caller = await _find(request)
            _require(caller, needed)
            request[CALLER] = caller
        response: web.StreamResponse = await handler(request)
        return response

    async def _find(request: web.Request) -> Caller:
        sent = request.headers.getall("Authorization", [])
        if not sent:
            cookie = cookie_of(request)
            return _local(request) if cookie is None else await _at_the_page(request, cookie)
        secret = _BEARER.fullmatch(sent[0].strip()) if len(sent) == 1 else None
        if secret is None:
            raise _malformed()
        address = client_address(request)
        token = tokens.find(secret[1])
        wait_s = failures.wait_s(address, clock.monotonic())
        if wait_s and (token is None or not failures.is_known(address, token.id)):
            refused()
            raise _shut_out(wait_s)
        if token is None:
            failures.failed(address, clock.monotonic())
            refused()
            raise _unknown()
        failures.succeeded(address, token.id)
        return Caller(f"token:{token.id}", widen(token.scopes), token.id)

    async def _at_the_page(request: web.Request, cookie: str) -> Caller:
        check_origin(request)
        found = await sessions.use(cookie)
        if found is None:
            raise _ended()
        session, token = found
        return Caller(f"token:{token.id}", widen(token.scopes), token.id, session.key)

    def _local(request: web.Request) -> Caller:
        uid = peer_uid(request.transport)
        if uid is None or uid not in local_uids:
            raise _missing()
        return Caller(f"local:{uid}", frozenset(Scope))

    return authenticate


def _require(caller: Caller, needed: Scope) -> None:
    if not caller.may(needed):
        raise RequestFault(
            "scope-insufficient",
            f"This needs the scope {needed}.",
            remedy=f"Use a token with the scope {needed}.",
            headers={"WWW-Authenticate": f'{_REALM}, error="insufficient_scope", scope="{needed}"'},
        )


def _missing() -> RequestFault:
    """RFC 6750, 3.1: without a token there is no error code in the answer."""
    return RequestFault(
        "token-missing", "This needs an access token.", remedy=_REMEDY, headers={"WWW-Authenticate": _REALM}
    )


def _malformed() -> RequestFault:
    return RequestFault(
        "request-malformed",
        "The Authorization header is not a bearer token.",
        remedy=_REMEDY,
        headers={"WWW-Authenticate": f'{_REALM}, error="invalid_request"'},
    )


def _ended() -> RequestFault:
    return RequestFault(
        "session-ended",
        "The session has ended: after a sign-out, after a long time without use, or with its token.",
        remedy="Sign in again with your token.",
        headers={"WWW-Authenticate": _REALM},
    )


def _unknown() -> RequestFault:
    return RequestFault(
        "token-invalid",
        "The access token is not known here; it may have been removed.",
        remedy=_REMEDY,
        headers={"WWW-Authenticate": f'{_REALM}, error="invalid_token"'},
    )


def _shut_out(wait_s: int) -> RequestFault:
    return RequestFault(
        "too-many-failures",
        "Too many wrong access tokens came from this address.",
        remedy=f"Wait {wait_s} s and use a token that is known here.",
        headers={"Retry-After": str(wait_s)},
    )
