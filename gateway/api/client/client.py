"""The client of a gateway's API: over the unix socket on the board, over HTTP with a token elsewhere.

Beside the methods of `operations`, which are named and typed as the OpenAPI document is, there are a few that take a
path below /api/v1. Certificates are always checked (TLS 1.2 at least), redirects are never followed: a token goes
nowhere but to the address that was given.
"""

from __future__ import annotations

import asyncio
import errno
import json
import ssl
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import aiohttp

from gateway.api.client.operations import Operations
from gateway.errors import GatepostError, SettingsFault

__all__ = ["DEFAULT_SOCKET", "ApiProblem", "CannotReach", "Client", "StreamEvent"]

DEFAULT_SOCKET = Path("/run/gatepost/api.sock")
_BASE = "/api/v1"
_PLACES = ("pointer", "parameter", "header")
#: Our choice: an answer for which a memory of 1024 slots is read takes as long as the wire, over 7 minutes at 2400 Bd,
#: and others may be on the same line.
_PATIENCE_S = 1800


#: Problems of this status and above may pass by themselves: too many requests, the server's own (RFC 9110, 15.6).
_MAY_PASS = 429


class CannotReach(GatepostError):
    """The daemon does not answer."""

    code = "cannot-reach"


class ApiProblem(GatepostError):
    """The daemon answered with a problem (RFC 9457)."""

    def __init__(self, status: int, document: Mapping[str, Any]) -> None:
        problem_type = str(document.get("type", "about:blank"))
        super().__init__(
            str(document.get("detail") or document.get("title") or f"HTTP {status}"),
            remedy=str(document.get("remedy", "")),
            code=problem_type.rpartition(":")[2],
        )
        self.status = status
        self.errors = list(document.get("errors", []))

    @property
    def places(self) -> list[str]:
        """The single places that are wrong, in words; none when the message says it all."""
        named = [(next(filter(None, map(error.get, _PLACES)), ""), error.get("detail", "")) for error in self.errors]
        return [f"{place.removeprefix('#/')}: {detail}" for place, detail in named if place]


@dataclass(frozen=True, slots=True)
class StreamEvent:
    """One server-sent event: its id, its name, its CloudEvents document."""

    id: str
    name: str
    document: dict[str, Any]


class Client(Operations):
    """`async with Client(...)`. Raises CannotReach and ApiProblem from every call.

    `url` is https://HOST:PORT, or None for the unix `socket` on the board. `ca` is a PEM file of the authority that
    signed the gateway's certificate, where that is no public one.
    """

    def __init__(
        self,
        *,
        url: str | None = None,
        token: str | None = None,
        socket: Path = DEFAULT_SOCKET,
        ca: Path | None = None,
    ) -> None:
        self._root = (url or "http://localhost").rstrip("/")
        self._base = self._root + _BASE
        self._where = url or str(socket)
        self._by_socket = url is None
        connector = aiohttp.UnixConnector(path=str(socket)) if url is None else aiohttp.TCPConnector(ssl=_trust(ca))
        headers = {"Authorization": f"Bearer {token}"} if token else {}
        self._session = aiohttp.ClientSession(
            connector=connector, headers=headers, timeout=aiohttp.ClientTimeout(total=_PATIENCE_S, sock_connect=5)
        )

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self._session.close()

    async def get(self, path: str, **query: str | int) -> Any:
        """The JSON behind a path below /api/v1."""
        return await self.send("GET", path, query=query)

    async def get_all(self, path: str, key: str, **query: str | int) -> list[Any]:
        """All items of a list, page after page; `key` is the list's name in the answer."""
        items: list[Any] = []
        cursor: str | None = ""
        while cursor is not None:
            page = await self.get(path, **query, **({"cursor": cursor} if cursor else {}))
            items += page[key]
            cursor = page.get("next")
        return items

    async def change(self, path: str, body: object, *, method: str = "PATCH") -> Any:
        """Change what stands at a path, from what stands there now (RFC 9110, 13.1.1)."""
        return await self.send(method, path, body, headers={"If-Match": await self.tag(path) or "*"})

    async def tag(self, path: str, **query: str | int) -> str:
        """The ETag of what stands at a path; empty when it has none."""
        async with self._ask("GET", path, params=dict(query)) as answer:
            await self._read(answer)
            return answer.headers.get("ETag", "")

    async def send(
        self,
        method: str,
        path: str,
        body: object = None,
        *,
        query: Mapping[str, str | int] | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> Any:
        """Send a request and return the JSON of its answer; None when it has no body."""
        async with self._ask(method, path, json=body, params=dict(query or {}), headers=headers) as answer:
            return await self._read(answer)

    async def download(self, path: str, **query: str | int) -> bytes:
        """The file behind a path below /api/v1, byte by byte as it is."""
        async with self._ask("GET", path, params=dict(query)) as answer:
            await self._read(answer)
            return await answer.read()

    async def upload(
        self,
        method: str,
        path: str,
        files: Mapping[str, bytes],
        *,
        query: Mapping[str, str | int] | None = None,
        headers: Mapping[str, str] | None = None,
    ) -> Any:
        """Send files as the parts of a form, byte by byte as they are."""
        form = aiohttp.FormData()
        for name, content in files.items():
            form.add_field(name, content, filename=name, content_type="application/octet-stream")
        async with self._ask(method, path, data=form, params=dict(query or {}), headers=headers) as answer:
            return await self._read(answer)

    @asynccontextmanager
    async def _ask(self, method: str, path: str, **more: Any) -> AsyncIterator[aiohttp.ClientResponse]:
        try:
            address = path if path.startswith(self._root) else self._base + path
            async with self._session.request(method, address, allow_redirects=False, **more) as answer:
                yield answer
        except aiohttp.ClientConnectorCertificateError as fault:  # a ValueError too
            raise self._unreachable(fault) from fault
        except ValueError as fault:  # an address that is none, or JSON that is none
            raise self._stranger() from fault
        except (aiohttp.ClientError, TimeoutError, OSError) as fault:
            raise self._unreachable(fault) from fault

    async def _exchange(
        self, method: str, path: str, *, query: Mapping[str, Any], body: object, headers: Mapping[str, str]
    ) -> tuple[Any, bytes, str]:
        async with self._ask(method, self._root + path, json=body, params=dict(query), headers=headers) as answer:
            document = await self._read(answer)
            return document, await answer.read(), answer.headers.get("ETag", "")

    async def _read(self, answer: aiohttp.ClientResponse) -> Any:
        raw = await answer.read()
        document = json.loads(raw) if raw and "json" in answer.content_type else None
        if answer.status >= 300:
            if not isinstance(document, dict):
                raise self._stranger()
            raise ApiProblem(answer.status, document)
        return document

    async def stream(self, last_event_id: str | None = None) -> AsyncIterator[StreamEvent]:
        """Events as they come, over cuts: resumes after the last one seen, with a growing pause.

        Raises CannotReach and ApiProblem when it can't begin; once it has, only when it may not go on (a token that was
        removed). A gateway that is away, or has no room for a stream, is tried again.
        """
        pause, begun = 0.5, False
        while True:
            try:
                async for event in self._stream_once(last_event_id):
                    begun, pause = True, 0.5
                    if event is not None:
                        last_event_id = event.id or last_event_id
                        yield event
            except (aiohttp.ClientError, TimeoutError, OSError) as fault:
                if not begun:
                    raise self._unreachable(fault) from fault
            except ApiProblem as problem:
                if not begun or problem.status < _MAY_PASS:
                    raise
            await asyncio.sleep(pause)
            pause = min(pause * 2, 10.0)

    async def _stream_once(self, last_event_id: str | None) -> AsyncIterator[StreamEvent | None]:
        """One connection: None once it is open, then its events."""
        headers = {"Accept": "text/event-stream"}
        if last_event_id:
            headers["Last-Event-ID"] = last_event_id
        timeout = aiohttp.ClientTimeout(total=None, sock_read=45)
        async with self._session.get(self._base + "/events/stream", headers=headers, timeout=timeout) as answer:
            if answer.status != 200:
                await self._read(answer)
                raise self._stranger()
            yield None
            fields: dict[str, str] = {}
            async for raw in answer.content:
                line = raw.decode("utf-8").rstrip("\r\n")
                if line:
                    name, _, value = line.partition(":")
                    value = value.removeprefix(" ")
                    fields[name] = f"{fields[name]}\n{value}" if name == "data" and name in fields else value
                    continue
                if "data" in fields:
                    yield StreamEvent(fields.get("id", ""), fields.get("event", ""), json.loads(fields["data"]))
                fields = {}

    def _stranger(self) -> CannotReach:
        return CannotReach(
            f"What answers at {self._where} is no gateway.",
            remedy="Correct the address; it looks like http://HOST:PORT.",
        )

    def _unreachable(self, fault: BaseException) -> CannotReach:
        if isinstance(fault, aiohttp.ClientConnectorCertificateError):
            return self._untrusted(fault)
        if self._by_socket and getattr(fault, "errno", None) in (errno.EACCES, errno.EPERM):
            return CannotReach(
                f"The socket {self._where} may not be opened by this user.",
                remedy="Use sudo, or --url with a token (gatepost token add).",
                code="socket-denied",
            )
        remedy = "Is the daemon running (systemctl status gatepost)? Elsewhere than on the board use --url and a token."
        return CannotReach(f"No gateway answers at {self._where}.", remedy=remedy)

    def _untrusted(self, fault: aiohttp.ClientConnectorCertificateError) -> CannotReach:
        reason = getattr(fault.certificate_error, "verify_message", "") or "it does not fit"
        remedy = "Name the PEM file of the authority that signed it with --ca."
        if "not yet valid" in reason:
            remedy = "Compare this machine's clock with the right time; the certificate begins later than it says."
        elif "expired" in reason:
            remedy = (
                "Compare this machine's clock with the right time; if it is right, renew the gateway's certificate."
            )
        elif "mismatch" in reason:
            remedy = "Use a name that stands in the certificate, or have one made for this name."
        return CannotReach(
            f"The certificate of {self._where} is not trusted: {reason}.", remedy=remedy, code="certificate-untrusted"
        )


def _trust(ca: Path | None) -> ssl.SSLContext:
    """Whose certificates count: the system's, or one authority's alone. Names are checked always (RFC 9110, 4.3.4)."""
    try:
        context = ssl.create_default_context(cafile=None if ca is None else str(ca))
    except (OSError, ssl.SSLError) as fault:
        raise SettingsFault(
            f"The certificate authority {ca} can't be read: {fault.strerror or fault}.",
            remedy="Name a PEM file of certificates.",
        ) from fault
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    return context
