"""A real SMTP server, aiosmtpd, on a free port of the loopback: STARTTLS, TLS or in clear."""

from __future__ import annotations

import asyncio
import ssl
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from email import message_from_bytes, policy
from email.message import EmailMessage
from pathlib import Path
from typing import Any

from aiosmtpd.smtp import SMTP, AuthResult, Envelope

__all__ = ["TLS", "Server", "server_tls", "serving"]

TLS = Path(__file__).parents[1] / "vectors" / "rosters" / "tls"


@dataclass
class Server:
    """Where it listens; `answer` is said to each mail; `mails` are those taken, `envelopes` for whom.

    `refused` are refused for good, `put_off` for now, as greylisting and full mailboxes do.
    """

    port: int = 0
    answer: str = "250 taken"
    refused: tuple[str, ...] = ()
    put_off: tuple[str, ...] = ()
    sender_refused: bool = False
    envelopes: list[list[str]] = field(default_factory=list)
    mails: list[EmailMessage] = field(default_factory=list)
    secure: list[bool] = field(default_factory=list)

    async def handle_MAIL(self, _: Any, __: Any, envelope: Envelope, address: str, options: list[str]) -> str:  # noqa: N802
        if self.sender_refused:
            return "553 5.7.1 not your address"
        envelope.mail_from = address
        envelope.mail_options.extend(options)
        return "250 OK"

    async def handle_RCPT(self, _: Any, __: Any, envelope: Envelope, address: str, options: list[str]) -> str:  # noqa: N802
        if address in self.refused:
            return "550 nobody of that name"
        if address in self.put_off:
            return "451 4.7.1 greylisted, come back later"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: SMTP, _: Any, envelope: Envelope) -> str:  # noqa: N802
        if self.answer.startswith("250"):
            content = envelope.content
            assert isinstance(content, bytes)
            self.mails.append(message_from_bytes(content, policy=policy.default))
            self.envelopes.append(list(envelope.rcpt_tos))
            assert server.transport is not None
            self.secure.append(server.transport.get_extra_info("ssl_object") is not None)
        return self.answer


def server_tls(name: str = "localhost") -> ssl.SSLContext:
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(TLS / f"{name}.pem")
    return context


@asynccontextmanager
async def serving(
    *, starttls: ssl.SSLContext | None = None, tls: ssl.SSLContext | None = None
) -> AsyncIterator[Server]:
    """Takes mail until the block ends; with a context as STARTTLS (required then) or from the first byte."""
    found = Server()

    def authenticate(*credentials: Any) -> AuthResult:
        login = credentials[-1]
        known = (login.login, login.password) == (b"fennel-quay", b"example")
        return AuthResult(success=known, handled=False)

    def protocol() -> SMTP:
        return SMTP(
            found,
            hostname="localhost",
            tls_context=starttls,
            require_starttls=starttls is not None,
            authenticator=authenticate,
            auth_require_tls=False,
            loop=asyncio.get_running_loop(),
        )

    listening = await asyncio.get_running_loop().create_server(protocol, "127.0.0.1", 0, ssl=tls)
    found.port = listening.sockets[0].getsockname()[1]
    try:
        yield found
    finally:
        listening.close()
