"""Access tokens: add, list, remove."""

from __future__ import annotations

from http import HTTPStatus

from aiohttp import web

from gateway.api.auditing import audited
from gateway.api.bodies import read_body, read_query
from gateway.api.context import context_of
from gateway.api.models.tokens import NewTokenAnswer, TokenAnswer, TokenBody, TokensAnswer
from gateway.api.operations import Operation
from gateway.api.paging import ShortListQuery, page_after
from gateway.api.replies import reply
from gateway.api.scopes import Scope
from gateway.ports import Token

__all__ = ["OPERATIONS", "create_token", "list_tokens", "remove_token"]


async def list_tokens(request: web.Request) -> web.StreamResponse:
    """Every token; their secrets are not kept."""
    tokens, query = context_of(request).services.tokens.list(), read_query(request, ShortListQuery)
    page, more = page_after("tokens", tokens, query, lambda token: token.id)
    return reply(TokensAnswer(tokens=[_token(token) for token in page], next=more))


async def create_token(request: web.Request) -> web.StreamResponse:
    """A new token and its secret, this once."""
    services = context_of(request).services
    body = await read_body(request, TokenBody)
    scopes = sorted(set(body.scopes))
    async with audited(request, "token.added", {"name": body.name, "scopes": list(scopes)}):
        token, secret = await services.tokens.add(body.name, scopes)
    answer = NewTokenAnswer(
        id=token.id, name=token.name, scopes=sorted(token.scopes), created=token.created, secret=secret
    )
    return reply(answer, status=HTTPStatus.CREATED)


async def remove_token(request: web.Request) -> web.StreamResponse:
    """The token works no more; streams opened with it end."""
    token_id = request.match_info["id"]
    async with audited(request, "token.removed", {"token": token_id}):
        await context_of(request).services.tokens.remove(token_id)
    return web.Response(status=HTTPStatus.NO_CONTENT)


def _token(token: Token) -> TokenAnswer:
    return TokenAnswer(id=token.id, name=token.name, scopes=sorted(token.scopes), created=token.created)


OPERATIONS = (
    Operation(
        id="listTokens",
        method="GET",
        path="/api/v1/tokens",
        summary="Access tokens, without their secrets",
        tag="access",
        scope=Scope.ADMIN,
        handler=list_tokens,
        query=ShortListQuery,
        problems=("cursor-invalid",),
        answer=TokensAnswer,
    ),
    Operation(
        id="createToken",
        method="POST",
        path="/api/v1/tokens",
        summary="A new access token; its secret is shown this once",
        tag="access",
        scope=Scope.ADMIN,
        handler=create_token,
        body=TokenBody,
        answer=NewTokenAnswer,
        status=201,
    ),
    Operation(
        id="removeToken",
        method="DELETE",
        path="/api/v1/tokens/{id}",
        summary="Remove an access token",
        tag="access",
        scope=Scope.ADMIN,
        handler=remove_token,
        status=204,
        problems=("not-found",),
    ),
)
