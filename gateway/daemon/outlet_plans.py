"""From the settings of an outlet to the outlet: secrets read, tables joined, everything checked.

`plan_outlet` does what needs nothing opened, so that `gatepost check` finds the same faults as the start; what it
returns joins that with what runs. Libraries are loaded for the kinds that are used.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from gateway.clock import Clock
from gateway.domain.addresses import AddressPolicy
from gateway.errors import SettingsFault
from gateway.outlets.alarm.codes import DEFAULT_CODES, OFF_BY_DEFAULT, Code
from gateway.outlets.choice import Choice
from gateway.outlets.tls import client_context
from gateway.ports import Journal, Outlet, Runs, Trust
from gateway.settings.outlets import AlarmSettings, MailSettings, MqttSettings, OutletSettings, WebhookSettings
from gateway.system.secrets import read_secret

__all__ = ["About", "OutletBuilder", "Running", "plan_outlet"]

_MAIL_PORTS = {"starttls": 587, "tls": 465, "none": 25}


@dataclass(frozen=True, slots=True)
class About:
    """What every outlet tells of its gateway."""

    gateway_id: str
    receivers: tuple[str, ...]
    zone: tzinfo
    version: str


@dataclass(frozen=True, slots=True)
class Running:
    """What outlets need of the running gateway. `standing` are sentences on what needs somebody now."""

    journal: Journal
    runs: Runs
    trust: Trust
    clock: Clock
    documents: Callable[[], Mapping[str, Mapping[str, Any]]]
    standing: Callable[[], Sequence[str]]


OutletBuilder = Callable[[Running], Outlet]


def plan_outlet(name: str, settings: OutletSettings, about: About) -> OutletBuilder:
    """Raises SettingsFault for secrets, certificates and addresses that can't be used."""
    match settings:
        case WebhookSettings():
            return _webhook(name, settings, about)
        case MqttSettings():
            return _mqtt(name, settings, about)
        case AlarmSettings():
            return _alarm(name, settings, about)
        case MailSettings():
            return _mail(name, settings, about)


def _webhook(name: str, settings: WebhookSettings, about: About) -> OutletBuilder:
    from gateway.outlets.signing import read_signing_secret  # noqa: PLC0415
    from gateway.outlets.webhook import Webhook, WebhookPlan, check_url  # noqa: PLC0415

    plan = WebhookPlan(
        name=name,
        url=settings.url,
        keys=tuple(read_signing_secret(read_secret(place)) for place in settings.secret_files),
        gateway_id=about.gateway_id,
        receivers=settings.receivers or about.receivers,
        choice=_choice(settings.events, settings.receivers),
        personal=settings.personal,
        authorization=_header(name, settings.authorization_file),
        ca_file=settings.ca_file,
        policy=_policy(settings),
        allow_plain_http=settings.allow_plain_http,
    )
    check_url(plan)
    client_context(plan.ca_file)
    return lambda running: Webhook(plan, running.clock)


def _mqtt(name: str, settings: MqttSettings, about: About) -> OutletBuilder:
    from gateway.outlets.mqtt import MqttOutlet, MqttPlan, broker_tls  # noqa: PLC0415

    plan = MqttPlan(
        name=name,
        host=settings.host,
        port=settings.port or (8883 if settings.tls else 1883),
        gateway_id=about.gateway_id,
        receivers=settings.receivers or about.receivers,
        version=about.version,
        prefix=settings.prefix,
        client_id=settings.client_id,
        username=settings.username,
        password=read_secret(settings.password_file) if settings.password_file else None,
        tls=settings.tls,
        ca_file=settings.ca_file,
        certificate_file=settings.certificate_file,
        key_file=settings.key_file,
        will_delay_s=settings.will_delay_s,
        spread_s=settings.spread_s,
        choice=_choice(settings.events, settings.receivers),
        personal=settings.personal,
        policy=_policy(settings),
    )
    broker_tls(plan)
    return lambda running: MqttOutlet(plan, documents=running.documents, journal=running.journal, clock=running.clock)


def _alarm(name: str, settings: AlarmSettings, about: About) -> OutletBuilder:
    from gateway.outlets.alarm.outlet import AlarmOutlet, AlarmPlan  # noqa: PLC0415
    from gateway.outlets.alarm.station import Address  # noqa: PLC0415

    addresses = []
    for text in settings.addresses:
        scheme, _, place = text.partition("://")
        host, _, port = place.rpartition(":")
        addresses.append(Address(host.strip("[]"), int(port), scheme == "udp"))
    plan = AlarmPlan(
        name=name,
        addresses=tuple(addresses),
        account=settings.account,
        contact_id=settings.format == "ADM-CID",
        accounts=settings.accounts,
        points=settings.points,
        group=settings.group,
        receiver_number=settings.receiver_number,
        prefix=settings.line_prefix,
        key=_alarm_key(name, settings),
        codes=_codes(settings),
        supervision_s=float(settings.supervision_s) if settings.supervision_s else None,
        answer_s=settings.answer_s,
        report_late=settings.late == "report",
        receivers=settings.receivers or about.receivers,
        only=frozenset(settings.receivers),
        policy=_policy(settings),
    )
    return lambda running: AlarmOutlet(plan, running.clock)


def _mail(name: str, settings: MailSettings, about: About) -> OutletBuilder:
    from gateway.outlets.mail import DEFAULT_EVENTS, MailOutlet, MailPlan  # noqa: PLC0415

    plan = MailPlan(
        name=name,
        host=settings.host,
        port=settings.port or _MAIL_PORTS[settings.security],
        sender=settings.sender,
        recipients=settings.recipients,
        site=about.gateway_id,
        zone=about.zone,
        receivers=settings.receivers or about.receivers,
        security=settings.security,
        username=settings.username,
        password=read_secret(settings.password_file) if settings.password_file else None,
        ca_file=settings.ca_file,
        choice=_choice(settings.events or tuple(DEFAULT_EVENTS), settings.receivers),
        urgent=Choice(frozenset(settings.urgent)) if settings.urgent else None,
        personal=settings.personal,
        quiet=settings.quiet_span,
        most_an_hour=settings.most_an_hour,
        digest=settings.digest_time,
        policy=_policy(settings),
    )
    client_context(plan.ca_file)
    return lambda running: MailOutlet(
        plan,
        journal=running.journal,
        runs=running.runs,
        trust=running.trust,
        clock=running.clock,
        standing=running.standing,
    )


def _choice(events: tuple[str, ...], receivers: tuple[str, ...]) -> Choice:
    return Choice(frozenset(events), frozenset(receivers))


def _policy(settings: OutletSettings) -> AddressPolicy:
    return AddressPolicy(settings.allow_private, settings.allow_loopback)


def _header(name: str, place: str | None) -> str | None:
    value = read_secret(place) if place else None
    if value is not None and not (value.isascii() and value.isprintable()):
        raise SettingsFault(
            f"The authorization of the webhook {name} can't stand in a header.",
            remedy="Write it into its file on one line, as printable ASCII, such as: Bearer ...",
        )
    return value


def _alarm_key(name: str, settings: AlarmSettings) -> bytes | None:
    if settings.key_file is None:
        return None
    text = read_secret(settings.key_file).strip()
    try:
        key = bytes.fromhex(text) if settings.key_form == "hex" else text.encode("ascii")
    except ValueError:
        key = b""
    if len(key) not in (16, 24, 32):
        wanted = "32, 48 or 64 hex digits" if settings.key_form == "hex" else "16, 24 or 32 characters"
        raise SettingsFault(
            f"The key of the outlet {name} has the wrong form.",
            remedy=f"Write {wanted} on one line, as the station gave them; key_form says which of the two.",
        )
    return key


def _codes(settings: AlarmSettings) -> dict[str, Code]:
    table = {key: code for key, code in DEFAULT_CODES.items() if key not in OFF_BY_DEFAULT}
    for key, given in settings.codes.items():
        if given == "off":
            table.pop(key, None)
        elif given == "on":
            if key not in DEFAULT_CODES:
                raise SettingsFault(
                    f"{key} has no code of its own.", remedy='Write one: { event = 150, sia = "UA" } in place of "on".'
                )
            table[key] = DEFAULT_CODES[key]
        else:
            table[key] = given.code()
    return table
