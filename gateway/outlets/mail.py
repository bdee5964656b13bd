"""Mail for people: what needs somebody, gathered where it would be too much, and a digest once a day.

SMTP with TLS (RFC 8314: from the first byte, or by STARTTLS that is required, never "if offered"). A mail counts as
delivered when the server has taken it for every recipient; what it does with it then nobody sees.
"""

from __future__ import annotations

import asyncio
import ssl
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta, tzinfo
from email.message import EmailMessage
from email.utils import format_datetime, make_msgid
from pathlib import Path

import aiosmtplib
import structlog

from gateway.clock import Clock
from gateway.domain.addresses import AddressPolicy
from gateway.domain.events import Event
from gateway.errors import StoreError
from gateway.outlets.choice import Choice
from gateway.outlets.mail_pace import HourlyLimit, QuietHours
from gateway.outlets.mail_text import digest_mail, events_mail
from gateway.outlets.reach import AddressRefused, resolve
from gateway.outlets.samples import sample_drafts, samples_for
from gateway.outlets.schedules import MAIL
from gateway.outlets.tls import certificate_problem, client_context
from gateway.ports import (
    Commit,
    Delivered,
    Delivery,
    EventRejected,
    Held,
    Journal,
    Outlet,
    Parcel,
    Report,
    RetryLater,
    Runs,
    Sample,
    Trust,
)

__all__ = ["DEFAULT_EVENTS", "MailOutlet", "MailPlan"]

log: structlog.typing.FilteringBoundLogger = structlog.get_logger("gateway.outlets")

TIMEOUT_S = 30.0  # our choice, for the whole conversation
_BATCH = 200
_LOOK_S = 30.0  # wall time is looked at this often, for it may be stepped
_DIGEST_EVENTS = 5000
_DAY = timedelta(days=1)
_REFUSED_FOR_GOOD = 500  # RFC 5321, 4.2.1: 5yz is permanent

#: What needs somebody.
DEFAULT_EVENTS = frozenset(
    (
        "condition.*",
        "plan.held",
        "plan.failed",
        "roster.refused",
        "receiver.replaced",
        "outlet.failing",
        "outlet.recovered",
    )
)
Standing = Callable[[], Sequence[str]]


@dataclass(frozen=True, slots=True)
class MailPlan:
    """What the settings ask for. `security` is `tls`, `starttls` or `none`; `digest` a time of day in `zone`."""

    name: str
    host: str
    port: int
    sender: str
    recipients: tuple[str, ...]
    site: str
    zone: tzinfo
    receivers: tuple[str, ...] = ()
    security: str = "starttls"
    username: str | None = None
    password: str | None = None
    ca_file: Path | None = None
    choice: Choice = field(default_factory=lambda: Choice(DEFAULT_EVENTS))
    urgent: Choice | None = None
    personal: bool = False
    quiet: tuple[time, time] | None = None
    most_an_hour: int = 6
    digest: time | None = None
    policy: AddressPolicy = field(default_factory=AddressPolicy)


class MailOutlet(Outlet):
    """`ports.Outlet`. `standing` gives sentences about what needs somebody now, for the digest."""

    kind = "mail"
    batch = _BATCH

    def __init__(
        self, plan: MailPlan, *, journal: Journal, runs: Runs, trust: Trust, clock: Clock, standing: Standing = tuple
    ) -> None:
        self._plan = plan
        self._journal = journal
        self._runs = runs
        self._trust = trust
        self._clock = clock
        self._standing = standing
        self._quiet = QuietHours(*plan.quiet, plan.zone) if plan.quiet else None
        self._noted: datetime | None = None
        self._limit = HourlyLimit(plan.most_an_hour)
        self._tls = client_context(plan.ca_file) if plan.security != "none" else None

    @property
    def name(self) -> str:
        return self._plan.name

    @property
    def place(self) -> str:
        return f"{', '.join(self._plan.recipients)} by {self._plan.host}:{self._plan.port}"

    def wants(self, event: Event) -> bool:
        return self._plan.choice.takes(event, self.name)

    def delay_s(self, failures: int) -> float:
        return MAIL.delay_s(failures)

    def samples(self) -> tuple[Sample, ...]:
        """One mail stands for all: people get no twenty of them."""
        receiver = self._plan.receivers[0] if self._plan.receivers else ""
        return samples_for(sample_drafts(receiver, self._plan.choice.conditions), self.wants)[:1]

    async def deliver(self, parcels: Sequence[Parcel]) -> Delivery:
        """One mail about all of them, or Held."""
        events, test = [parcel.event for parcel in parcels], parcels[0].test
        if not test and (held := self._not_now(events)) is not None:
            return held
        plan = self._plan
        mail = events_mail(events, site=plan.site, zone=plan.zone, personal=plan.personal, test=test)
        outcome = await self._send(mail, str(events[0].id))
        if isinstance(outcome, Delivered) and not test:
            self._limit.note(self._clock.monotonic())
        return outcome

    async def run(self, report: Report) -> None:
        """The daily digest, once a day at its time, by a clock that is known to be right."""
        if self._plan.digest is None:
            await asyncio.Event().wait()
        failures = 0
        while True:
            due = self._due()
            if due is None:
                await self._clock.sleep(_LOOK_S)
                continue
            if self._runs.last(self._run_name) is None:  # new today: the first digest is tomorrow's
                await self._note_run(due)
                continue
            outcome = await self._send_digest(due)
            if isinstance(outcome, Delivered):
                failures = 0
                await self._note_run(due)
                await report(outcome)
                continue
            failures += 1
            if isinstance(outcome, RetryLater):
                await report(outcome)
            await self._clock.sleep(MAIL.delay_s(failures))

    # --- when ---

    def _not_now(self, events: Sequence[Event]) -> Held | None:
        urgent = self._plan.urgent
        pressing = urgent is not None and any(event.late is None and urgent.takes(event, self.name) for event in events)
        quiet = self._quiet.left_s(self._clock.now()) if self._quiet and self._trust.trusted and not pressing else 0.0
        if quiet:
            return Held("Quiet hours: it goes out with what else comes until they are over.", quiet)
        many = self._limit.left_s(self._clock.monotonic())
        if many:
            return Held(f"{self._plan.most_an_hour} mails went in an hour: the rest is gathered into one.", many)
        return None

    @property
    def _run_name(self) -> str:
        return f"digest {self.name}"

    def _due(self) -> datetime | None:
        """The newest due time that no digest was sent for, None when there is none or time isn't known."""
        if self._plan.digest is None or not self._trust.trusted:
            return None
        now = self._clock.now()
        local = now.astimezone(self._plan.zone)
        due = datetime.combine(local.date(), self._plan.digest, self._plan.zone).astimezone(UTC)
        if due > now:
            due = datetime.combine(local.date() - _DAY, self._plan.digest, self._plan.zone).astimezone(UTC)
        last = self._runs.last(self._run_name)
        done = self._noted == due or (last is not None and last >= due)
        return due if now - due < _DAY / 2 and not done else None

    async def _note_run(self, due: datetime) -> None:
        """Also from memory, so that a full disk makes no second digest."""
        self._noted = due
        try:
            await self._journal.commit(Commit(runs={self._run_name: due}))
        except StoreError as fault:
            log.warning("mail.digest_not_noted", outlet=self.name, code=fault.code)

    async def _send_digest(self, due: datetime) -> Delivery:
        events = await self._journal.read(0, limit=_DIGEST_EVENTS, newest_first=True)
        since = due - _DAY
        of_the_day = [event for event in reversed(events) if since <= event.time < due and self.wants(event)]
        plan = self._plan
        mail = digest_mail(
            of_the_day, site=plan.site, zone=plan.zone, since=since, until=due, standing=tuple(self._standing())
        )
        return await self._send(mail, f"digest-{due:%Y%m%d}")

    # --- sending ---

    async def _send(self, mail: EmailMessage, reference: str) -> Delivery:
        plan = self._plan
        mail["From"], mail["To"] = plan.sender, ", ".join(plan.recipients)
        if self._trust.trusted:
            mail["Date"] = format_datetime(self._clock.now())
        mail["Message-ID"] = make_msgid(reference.replace(" ", "-"), domain=f"{plan.site}.gatepost.invalid")
        mail["Auto-Submitted"] = "auto-generated"  # RFC 3834: no answering machine answers
        try:
            async with self._clock.timeout(TIMEOUT_S):
                return await self._converse(mail)
        except TimeoutError:
            return RetryLater(f"{plan.host} did not take the mail within {TIMEOUT_S:g} s.", "Look at the mail server.")
        except AddressRefused as error:
            remedy = "Correct the host; for a server on the local network set allow_private = true."
            return RetryLater(f"The mail server's address can't be used: {error}.", remedy)
        except (aiosmtplib.SMTPException, OSError) as error:
            return self._explain(error)

    async def _converse(self, mail: EmailMessage) -> Delivery:
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
            refused, answer = await client.send_message(mail, sender=plan.sender, recipients=list(plan.recipients))
        if refused:  # the others have it: sending again would reach them again
            log.warning("mail.recipients_refused", outlet=self.name, count=len(refused))
        return Delivered(" ".join(answer.split())[:80])

    def _explain(self, error: Exception) -> Delivery:
        host, code = self._plan.host, getattr(error, "code", 0)
        cause: BaseException | None = error
        while cause is not None and not isinstance(cause, ssl.SSLError):
            cause = cause.__cause__ or cause.__context__
        if cause is not None:
            return RetryLater(*certificate_problem(cause, host))
        if isinstance(error, aiosmtplib.SMTPAuthenticationError):
            return RetryLater(f"{host} refuses user and password.", "Look at username and the password's file.")
        if isinstance(error, aiosmtplib.SMTPDataError) and code >= _REFUSED_FOR_GOOD:
            return EventRejected(f"{host} refuses this mail ({code}).", "Look at the mail server's log.")
        words = " ".join(str(error).split())[:120] or type(error).__name__
        return RetryLater(f"{host} did not take the mail: {words}.", "Look at the mail server and the network.")
