"""The client of a gateway's API, for the commands and for programs of others.

`Client` has a method for each operation; what they take and give are the TypedDicts of `types`. `docs/client.md`
shows it. This package needs aiohttp alone and never imports the server beside it.
"""

from __future__ import annotations

from gateway.api.client.calling import Tagged
from gateway.api.client.client import DEFAULT_SOCKET, ApiProblem, CannotReach, Client, StreamEvent

__all__ = ["DEFAULT_SOCKET", "ApiProblem", "CannotReach", "Client", "StreamEvent", "Tagged"]
