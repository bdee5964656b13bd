"""What a handler needs of the application around it."""

from __future__ import annotations

from dataclasses import dataclass

from aiohttp import web

from gateway.api.agreement_book import AgreementBook
from gateway.api.limits import Limits
from gateway.api.metrics import Metrics
from gateway.api.services import Services
from gateway.api.sessions import Sessions
from gateway.api.streams import Streams

__all__ = ["CONTEXT", "Context", "context_of"]


@dataclass(frozen=True, slots=True)
class Context:
    """One per application. `started_s` is monotonic. `document` is the OpenAPI document as bytes."""

    services: Services
    limits: Limits
    metrics: Metrics
    streams: Streams
    sessions: Sessions
    agreements: AgreementBook
    version: str
    started_s: float
    document: bytes
    behind_proxy: bool = False
    security_contact: str = ""


CONTEXT: web.AppKey[Context] = web.AppKey("context", Context)


def context_of(request: web.Request) -> Context:
    """The context of the application that serves this request."""
    return request.app[CONTEXT]
