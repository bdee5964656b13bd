"""Writing an answer: a model as JSON, with its tag when it can be asked for conditionally."""

from __future__ import annotations

from collections.abc import Mapping
from http import HTTPStatus

from aiohttp import web
from pydantic import BaseModel

from gateway.api.etags import make_tag, matches_weak

__all__ = ["not_modified", "reply", "reply_tagged"]


def reply(model: BaseModel, *, status: int = 200, headers: Mapping[str, str] | None = None) -> web.Response:
    """The model as JSON. Fields that were never set are left out: they are not for this caller."""
    return web.Response(
        status=status,
        body=model.model_dump_json(exclude_unset=True).encode(),
        headers={"Content-Type": "application/json", **(headers or {})},
    )


def reply_tagged(request: web.Request, model: BaseModel, tag: str | None = None) -> web.Response:
    """The model with an ETag, or 304. The tag is made from the content unless one is given."""
    response = reply(model)
    tag = tag or make_tag(response.body)
    if found := not_modified(request, tag):
        return found
    response.headers.update({"ETag": tag, "Cache-Control": "private, no-cache", "Vary": "Authorization, Cookie"})
    return response


def not_modified(request: web.Request, tag: str) -> web.Response | None:
    """304 when the client has this very representation already (RFC 9110, 13.1.2)."""
    asked = request.headers.get("If-None-Match")
    if asked is None or not matches_weak(asked, tag):
        return None
    headers = {"ETag": tag, "Cache-Control": "private, no-cache", "Vary": "Authorization, Cookie"}
    return web.Response(status=HTTPStatus.NOT_MODIFIED, headers=headers)
