"""The session of somebody at the page: sign in with a token, see who one is, sign out."""

from __future__ import annotations

from datetime import timedelta
from http import HTTPStatus

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.caller import caller_of
from gateway.api.caller_names import caller_names
from gateway.api.context import context_of
from gateway.api.cookies import clear_cookie, set_cookie
from gateway.api.models.sessions import SessionAnswer
from gateway.api.operations import Operation
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.api.sessions import LONGEST_S, Session
from gateway.errors import Refused

__all__ = ["OPERATIONS", "end_session", "get_session", "open_session"]


async def open_session(request: web.Request) -> web.StreamResponse:
    """Sign in: the token in the Authorization header is exchanged for a cookie that scripts can't read."""
    caller, sessions = caller_of(request), context_of(request).sessions
    if not caller.token_id:
        raise Refused(
            "A session needs a token.",
            remedy="Send a token in the Authorization header; gatepost token add makes one.",
            code="session-needs-token",
        )
    if caller.session:
        return reply(_answer(request, sessions.find(caller.session)), status=HTTPStatus.CREATED)
    async with audited(request, "session.opened", {}, must_go_on=True):
        session, value = await sessions.open(caller.token_id)
    response = reply(_answer(request, session), status=HTTPStatus.CREATED)
    set_cookie(request, response, value, LONGEST_S)
    return response


async def get_session(request: web.Request) -> web.StreamResponse:
    """Who asks, with which scopes, and until when."""
    return reply(_answer(request, context_of(request).sessions.find(caller_of(request).session)))


async def end_session(request: web.Request) -> web.StreamResponse:
    """Sign out: the cookie is worth nothing from now on, and streams that were opened with it end."""
    caller = caller_of(request)
    if caller.session:
        async with audited(request, "session.ended", {}, must_go_on=True):
            await context_of(request).sessions.end(caller.session)
    response = web.Response(status=HTTPStatus.NO_CONTENT)
    clear_cookie(request, response)
    return response


def _answer(request: web.Request, session: Session | None) -> SessionAnswer:
    caller, services = caller_of(request), context_of(request).services
    token = next((token for token in services.tokens.list() if token.id == caller.token_id), None)
    left_s = session.left_s(services.clock.monotonic()) if session else 0.0
    return SessionAnswer(
        name=token.name if token else "",
        scopes=sorted(caller.scopes),
        gateway=services.gateway_id,
        time_zone=str(services.zone),
        callers=dict(caller_names(services)) if caller.may(Scope.ROSTER) or caller.may(Scope.OPERATE) else {},
        expires=services.clock.now() + timedelta(seconds=left_s) if session else None,
    )


OPERATIONS = (
    Operation(
        id="openSession",
        method="POST",
        path="/api/v1/session",
        summary="Sign in at the page: a token for a cookie",
        tag="access",
        scope=Scope.VIEW,
        handler=open_session,
        answer=SessionAnswer,
        status=201,
        problems=("session-needs-token",),
    ),
    Operation(
        id="getSession",
        method="GET",
        path="/api/v1/session",
        summary="Who asks, and what they may do",
        tag="access",
        scope=Scope.VIEW,
        handler=get_session,
        answer=SessionAnswer,
    ),
    Operation(
        id="endSession",
        method="DELETE",
        path="/api/v1/session",
        summary="Sign out",
        tag="access",
        scope=Scope.VIEW,
        handler=end_session,
        status=204,
    ),
)
