"""One mail to a mail server, and what the server says about it.

SMTP with TLS (RFC 8314: from the first byte, or by STARTTLS that is required, never "if offered"). Reply codes are
RFC 5321's: 4yz asks to try again later (greylisting, a mailbox that is full), 5yz refuses for good; a server says so
of each recipient or of the whole mail.
"""

from __future__ import annotations

import ssl
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from email.message import EmailMessage
from email.utils import format_datetime, make_msgid
from pathlib import Path

import aiosmtplib

from gateway.clock import Clock
from gateway.domain.addresses import AddressPolicy
from gateway.outlets.reach import AddressRefused, resolve
from gateway.outlets.tls import certificate_problem, client_context
from gateway.ports import EventRejected, RetryLater, Trust

__all__ = ["MailServer", "MailServerPlan", "Taken"]

TIMEOUT_S = 30.0  # our choice, for the whole conversation
_REFUSED_FOR_GOOD = 500  # RFC 5321, 4.2.1: 5yz is permanent
_SHOWN = 120  # letters of what a server says


@dataclass(frozen=True, slots=True)
class MailServerPlan:
    """Which server, and as whom. `security` is `tls`, `starttls` or `none`; `site` stands in message ids."""

    host: str
    port: int
    sender: str
    site: str
    security: str = "starttls"
    username: str | None = None
    password: str | None = None
    ca_file: Path | None = None
    policy: AddressPolicy = field(default_factory=AddressPolicy)


@dataclass(frozen=True, slots=True)
class Taken:
    """The server has the mail for somebody. `later` and `refused` are those that it has it not for, with its words."""

    answer: str
    later: Mapping[str, str] = field(default_factory=dict)
    refused: Mapping[str, str] = field(default_factory=dict)


class MailServer:
    """Sends; a connection for each mail."""

    def __init__(self, plan: MailServerPlan, *, trust: Trust, clock: Clock) -> None:
        self._plan = plan
        self._trust = trust
        self._clock = clock
        self._tls = client_context(plan.ca_file) if plan.security != "none" else None

    async def send(
        self, mail: EmailMessage, *, to: Sequence[str], only: Sequence[str], reference: str
    ) -> Taken | RetryLater | EventRejected:
        """`to` stands in the mail, `only` get it. Nobody has it unless it is Taken."""
        plan = self._plan
        mail["From"], mail["To"] = plan.sender, ", ".join(to)
        if self._trust.trusted:
            mail["Date"] = format_datetime(self._clock.now())
        mail["Message-ID"] = make_msgid(reference.replace(" ", "-"), domain=f"{plan.site}.gatepost.invalid")
        mail["Auto-Submitted"] = "auto-generated"  # RFC 3834: no answering machine answers
        try:
            async with self._clock.timeout(TIMEOUT_S):
                return await self._converse(mail, only)
        except TimeoutError:
            return RetryLater(f"{plan.host} did not take the mail within {TIMEOUT_S:g} s.", "Look at the mail server.")
        except AddressRefused as error:
            return RetryLater(f"The mail server's address can't be used: {error}.", error.remedy)
        except (aiosmtplib.SMTPException, OSError) as error:
            return self._explain(error)

    async def _converse(self, mail: EmailMessage, recipients: Sequence[str]) -> Taken:
        plan = self._plan
        await resolve(plan.policy, plan.host, plan.port)
        client = aiosmtplib.SMTP(
            hostname=plan.host,
            port=plan.port,
            use_tls=plan.security == "tls",
            start_tls=plan.security == "starttls",
            tls_context=self._tls,
            timeout=None,
        )
        async with client:
            if plan.username is not None:
                await client.login(plan.username, plan.password or "")
            errors, answer = await client.send_message(mail, sender=plan.sender, recipients=list(recipients))
        said = {who: (int(code), _words(f"{code} {text}")) for who, (code, text) in errors.items()}
        return Taken(
            _words(answer)[:80],
            later={who: words for who, (code, words) in said.items() if code < _REFUSED_FOR_GOOD},
            refused={who: words for who, (code, words) in said.items() if code >= _REFUSED_FOR_GOOD},
        )

    def _explain(self, error: Exception) -> RetryLater | EventRejected:
        host = self._plan.host
        cause: BaseException | None = error
        while cause is not None and not isinstance(cause, ssl.SSLError):
            cause = cause.__cause__ or cause.__context__
        if cause is not None:
            return RetryLater(*certificate_problem(cause, host))
        if isinstance(error, aiosmtplib.SMTPResponseException):
            return self._answered(error)
        if isinstance(error, aiosmtplib.SMTPRecipientsRefused):
            return _nobody(host, error.recipients)
        if self._plan.security == "starttls" and "STARTTLS extension not supported" in str(
            error
        ):  # no class of its own
            remedy = 'Ask the server\'s keeper, or try security = "tls" with its port (465).'
            return RetryLater(f"{host} offers no STARTTLS.", remedy)
        reason = getattr(error, "strerror", None) or _words(str(error)).rstrip(".") or type(error).__name__
        return RetryLater(f"{host} did not take the mail: {reason}.", "Look at the mail server and the network.")

    def _answered(self, error: aiosmtplib.SMTPResponseException) -> RetryLater | EventRejected:
        host, for_good = self._plan.host, error.code >= _REFUSED_FOR_GOOD
        if isinstance(error, aiosmtplib.SMTPAuthenticationError) and for_good:
            return RetryLater(f"{host} refuses user and password.", "Look at username and the password's file.")
        if isinstance(error, aiosmtplib.SMTPDataError) and for_good:
            return EventRejected(f"{host} refuses this mail: {_said(error)}.", "Look at the mail server's log.")
        if isinstance(error, aiosmtplib.SMTPSenderRefused):
            remedy = "Look at sender: the server must know it."
            return RetryLater(f"{host} refuses the sender {self._plan.sender}: {_said(error)}.", remedy)
        return RetryLater(f"{host} does not take the mail now: {_said(error)}.", "Look at the mail server.")


def _nobody(host: str, refused: Iterable[aiosmtplib.SMTPRecipientRefused]) -> RetryLater:
    """The server would have it for no recipient."""
    each = "; ".join(f"{one.recipient} ({_said(one)})" for one in refused)
    if all(one.code >= _REFUSED_FOR_GOOD for one in refused):
        remedy = "Correct recipients, or ask the mail server's keeper whether it may send to them."
        return RetryLater(f"{host} refuses every recipient: {each}.", remedy)
    return RetryLater(f"{host} asks to try again later: {each}.", "It is tried again; look at the mail server.")


def _said(error: Exception) -> str:
    code, message = getattr(error, "code", ""), getattr(error, "message", "")
    return _words(f"{code} {message}").rstrip(".")


def _words(text: str) -> str:
    """What a server says, as one line of printable text."""
    return "".join(each if each.isprintable() else "?" for each in " ".join(text.split()))[:_SHOWN]
