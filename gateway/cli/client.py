"""The client that commands use: the one of `gateway.api.client`, under the name that commands know it by."""

from __future__ import annotations

from gateway.api.client import DEFAULT_SOCKET, ApiProblem, CannotReach, StreamEvent
from gateway.api.client import Client as ApiClient

__all__ = ["DEFAULT_SOCKET", "ApiClient", "ApiProblem", "CannotReach", "StreamEvent"]
