"""Whom to tell of a weakness: /.well-known/security.txt as RFC 9116 has it, from the contact in the settings.

It is open to all, for whoever finds a weakness has no token. It says nothing of the gateway but that contact.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta

from aiohttp import web

from gateway.api.context import context_of
from gateway.api.operations import Operation
from gateway.domain.cloudevents import write_time
from gateway.errors import NotFound

__all__ = ["OPERATIONS", "get_security_contact"]

_PATH = "/.well-known/security.txt"
_VALID = timedelta(days=180)
"""How long a copy may be believed (RFC 9116, 2.5.5: less than a year is recommended); each answer begins it anew."""


async def get_security_contact(request: web.Request) -> web.StreamResponse:
    """Contact, when the answer expires, language and, over TLS, its own address. 404 where the settings have none."""
    context = context_of(request)
    if not context.security_contact:
        raise NotFound(
            "This gateway names nobody to tell of a weakness.",
            remedy="Whoever looks after it writes security_contact into [api] of the settings file.",
        )
    lines = _fields(context.security_contact, context.services.clock.now(), _canonical(request))
    text = "".join(f"{name}: {value}\n" for name, value in lines)
    return web.Response(body=text.encode(), headers={"Content-Type": "text/plain; charset=utf-8"})


def _fields(contact: str, now: datetime, canonical: str) -> Iterator[tuple[str, str]]:
    yield "Contact", contact
    yield "Expires", write_time(now + _VALID)
    yield "Preferred-Languages", "en"
    if canonical:
        yield "Canonical", canonical


def _canonical(request: web.Request) -> str:
    """The address that was asked, where TLS vouches for it; the host is one of those that are allowed."""
    tls = request.secure or context_of(request).behind_proxy
    return f"https://{request.headers['Host'].lower()}{_PATH}" if tls else ""


OPERATIONS = (
    Operation(
        id="getSecurityContact",
        method="GET",
        path=_PATH,
        summary="Whom to tell of a weakness (RFC 9116)",
        tag="gateway",
        scope=None,
        handler=get_security_contact,
        answer_type="text/plain",
        problems=("not-found",),
    ),
)
