"""Mail for people: what needs somebody, gathered where it would be too much, and a digest once a day.

A mail counts as delivered when the server has taken it for anybody; who was put off gets it later (`mail_later`). What
the server does with it then nobody sees.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, time, tzinfo
from pathlib import Path

import structlog

from gateway.clock import Clock
from gateway.domain.addresses import AddressPolicy
from gateway.domain.events import Event
from gateway.errors import StoreError
from gateway.outlets.choice import Choice
from gateway.outlets.mail_digest import Digest
from gateway.outlets.mail_later import PutOff
from gateway.outlets.mail_pace import LOOK_S, DailyTime, HourlyLimit, QuietHours
from gateway.outlets.mail_sending import MailServer, MailServerPlan, Taken
from gateway.outlets.mail_text import events_mail
from gateway.outlets.mail_urgent import UrgentLook
from gateway.outlets.samples import sample_drafts, samples_for
from gateway.outlets.schedules import MAIL
from gateway.ports import (
    Delivered,
    Delivery,
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

_BATCH = 200

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
        self._trust = trust
        self._clock = clock
        self._quiet = QuietHours(*plan.quiet, plan.zone) if plan.quiet else None
        self._limit = HourlyLimit(plan.most_an_hour)
        self._urgent_limit = HourlyLimit(plan.most_an_hour)
        self._urgent = UrgentLook(journal, self._is_urgent, self.batch)
        self._put_off = PutOff()
        self._server = MailServer(_server_of(plan), trust=trust, clock=clock)
        self._digest: Digest | None = None
        if plan.digest is not None:
            at = DailyTime(plan.digest, plan.zone)
            self._digest = Digest(
                plan.name, at, site=plan.site, wants=self.wants, journal=journal, runs=runs, standing=standing
            )

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
        pressing = await self._urgent.presses(events)
        if not test and (held := self._not_now(pressing)) is not None:
            return held
        outcome = await self._send(events, self._plan.recipients, test=test)
        if not isinstance(outcome, Taken):
            return outcome
        if not test:
            (self._urgent_limit if pressing else self._limit).note(self._clock.monotonic())
            self._put_off.add(outcome.later, events, self._clock.monotonic())
        return Delivered(_answer(outcome))

    async def run(self, report: Report) -> None:
        """The daily digest, by a clock that is known to be right, and mails for recipients that were put off."""
        failures = 0
        while True:
            pause_s = LOOK_S
            if self._digest is not None and self._trust.trusted and (due := await self._digest.due(self._clock.now())):
                outcome = await self._send_digest(self._digest, due)
                failures = 0 if isinstance(outcome, Delivered) else failures + 1
                if isinstance(outcome, Delivered | RetryLater):
                    await report(outcome)
                pause_s = MAIL.delay_s(failures) if failures else 0.0
            await self._try_put_off()
            await self._clock.sleep(pause_s)

    # --- when ---

    def _is_urgent(self, event: Event) -> bool:
        urgent = self._plan.urgent
        return urgent is not None and event.late is None and self.wants(event) and urgent.takes(event, self.name)

    def _not_now(self, pressing: bool) -> Held | None:
        """What presses passes quiet hours and the others' limit; it has a limit of its own, as large."""
        if self._quiet is not None and self._trust.trusted and not pressing and self._quiet.now(self._clock.now()):
            return Held("Quiet hours: it goes out with what else comes until they are over.", LOOK_S)
        many = (self._urgent_limit if pressing else self._limit).left_s(self._clock.monotonic())
        if many:
            return Held(f"{self._plan.most_an_hour} mails went in an hour: the rest is gathered into one.", many)
        return None

    # --- sending ---

    async def _send(
        self, events: Sequence[Event], recipients: Sequence[str], *, test: bool = False
    ) -> Taken | Delivery:
        """What is urgent leads: it is in the subject, and never among those that are only counted."""
        plan = self._plan
        events = sorted(events, key=lambda event: not self._is_urgent(event))
        mail = events_mail(events, site=plan.site, zone=plan.zone, personal=plan.personal, test=test)
        outcome = await self._server.send(mail, to=plan.recipients, only=recipients, reference=str(events[0].id))
        if isinstance(outcome, Taken) and outcome.refused:
            log.warning("mail.recipients_refused", outlet=self.name, count=len(outcome.refused))
        return outcome

    async def _send_digest(self, digest: Digest, due: datetime) -> Delivery:
        """Who is put off has no digest that day: there will be another."""
        recipients = self._plan.recipients
        try:
            mail = await digest.mail(due)
        except StoreError as fault:
            return RetryLater(f"The digest can't be written: {fault.message}", "Look at the gateway's disk.")
        outcome = await self._server.send(mail, to=recipients, only=recipients, reference=f"digest-{due:%Y%m%d}")
        if not isinstance(outcome, Taken):
            return outcome
        await digest.note(due)
        return Delivered(_answer(outcome))

    async def _try_put_off(self) -> None:
        for waiting in self._put_off.due(self._clock.monotonic()):
            if self._not_now(any(map(self._is_urgent, waiting.events))) is not None:
                continue
            outcome, now_s = await self._send(waiting.events, [waiting.recipient]), self._clock.monotonic()
            if isinstance(outcome, Taken):
                self._put_off.done(waiting, now_s)
            elif not self._put_off.again(waiting, now_s):
                log.warning("mail.recipient_given_up", outlet=self.name, count=len(waiting.events))


def _server_of(plan: MailPlan) -> MailServerPlan:
    return MailServerPlan(
        plan.host,
        plan.port,
        plan.sender,
        plan.site,
        plan.security,
        plan.username,
        plan.password,
        plan.ca_file,
        plan.policy,
    )


def _answer(taken: Taken) -> str:
    """What the server said, with those that do not have it."""
    missing = [f"{who} ({words})" for who, words in (*taken.refused.items(), *taken.later.items())]
    return f"{taken.answer}; but not for {', '.join(missing)}" if missing else taken.answer
