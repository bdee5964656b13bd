"""Requests for middlewares under test, without a connection."""

from __future__ import annotations

import asyncio
from collections.abc import Mapping
from typing import Any

from aiohttp import StreamReader, web
from aiohttp.base_protocol import BaseProtocol
from aiohttp.test_utils import make_mocked_request

__all__ = ["request_to"]


def request_to(
    app: web.Application, method: str, path: str, headers: Mapping[str, str] | None = None, body: bytes = b""
) -> web.Request:
    """A request with this body, wholly received."""
    loop = asyncio.get_running_loop()
    payload = StreamReader(BaseProtocol(loop), 2**16, loop=loop)
    payload.feed_data(body)
    payload.feed_eof()
    request: Any = make_mocked_request(method, path, dict(headers or {}), app=app, payload=payload)
    assert isinstance(request, web.Request)
    return request
