"""The settings of outlets: where events go, by kind. Part of the settings file (see `settings`).

Secrets stand in files that are named here. What follows from these models is built in `outlet_plans`; nobody but the
start sees them.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Mapping
from datetime import time
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Discriminator, Field, Tag, field_validator
from pydantic_core import ErrorDetails

from gateway.errors import SettingsFault
from gateway.outlets.alarm.codes import Code, is_code_key
from gateway.outlets.choice import is_pattern
from gateway.outlets.mqtt_topics import check_prefix
from gateway.settings.base import Strict, refuse

__all__ = [
    "AlarmSettings",
    "MailSettings",
    "MqttSettings",
    "OutletSettings",
    "WebhookSettings",
    "plain_fault",
]

_HEX_ACCOUNT = r"^[0-9A-F]{3,16}$"
_HEX_NUMBER = r"^[0-9A-F]{1,6}$"
_MAILBOX = r"^[!#-+\--:=?A-~]+@[!#-+\--:=?A-~]+$"  # ASCII without blanks and the signs of a list
_Port = Annotated[int, Field(ge=1, le=65_535)]
_Account = Annotated[str, Field(pattern=_HEX_ACCOUNT)]
_Mailbox = Annotated[str, Field(pattern=_MAILBOX)]
_Text = Annotated[str, Field(min_length=1)]


class _Outlet(Strict):
    """What all kinds share. Empty `receivers` means every one."""

    receivers: tuple[str, ...] = ()
    allow_private: bool = False
    allow_loopback: bool = False


class _Choosing(_Outlet):
    """Kinds that send events as such. Empty `events` means every one; `personal` names holders too."""

    events: tuple[str, ...] = ()
    personal: bool = False

    @field_validator("events")
    @classmethod
    def _patterns(cls, events: tuple[str, ...]) -> tuple[str, ...]:
        return _known_patterns(events)


class WebhookSettings(_Choosing):
    """A web address that takes CloudEvents."""

    kind: Literal["webhook"]
    url: _Text
    secret_files: Annotated[tuple[str, ...], Field(min_length=1, max_length=2)]
    authorization_file: str | None = None
    ca_file: Path | None = None
    allow_plain_http: bool = False


class MqttSettings(_Choosing):
    """An MQTT 5 broker."""

    kind: Literal["mqtt"]
    host: _Text
    port: _Port | None = None
    tls: bool = True
    ca_file: Path | None = None
    certificate_file: Path | None = None
    key_file: Path | None = None
    client_id: Annotated[str, Field(max_length=64)] = ""
    username: str | None = None
    password_file: str | None = None
    prefix: str = "gatepost"
    will_delay_s: Annotated[int, Field(ge=0, le=3600)] = 10
    spread_s: Annotated[float, Field(ge=0, le=600)] = 40.0

    @field_validator("prefix")
    @classmethod
    def _topic(cls, prefix: str) -> str:
        try:
            return check_prefix(prefix)
        except SettingsFault as fault:
            raise ValueError(f"{fault.message} {fault.remedy}") from fault

    def _misfits(self) -> Iterator[str]:
        if (self.certificate_file is None) != (self.key_file is None):
            yield "certificate_file and key_file belong together; write both or none"
        if self.password_file is not None and self.username is None:
            yield "username is missing: a password needs one"
        if self.password_file is not None and not self.tls and not _is_here(self):
            yield "password_file needs tls = true: the password would cross the network in clear"


class CodeSettings(Strict):
    """One row of the table of codes."""

    event: Annotated[int, Field(ge=100, le=999)]
    sia: Annotated[str, Field(pattern=r"^[A-Z]{2}$")]
    sia_restore: Annotated[str, Field(pattern=r"^([A-Z]{2})?$")] = ""

    def code(self) -> Code:
        """As a value."""
        return Code(self.event, self.sia, self.sia_restore)


class AlarmSettings(_Outlet):
    """A receiver of alarms by ANSI/SIA DC-09. `addresses` are `tcp://host:port` or `udp://host:port`."""

    kind: Literal["alarm"]
    addresses: Annotated[tuple[str, ...], Field(min_length=1, max_length=2)]
    account: _Account
    accounts: dict[str, _Account] = Field(default_factory=dict)
    points: dict[str, Annotated[int, Field(ge=0, le=999, strict=True)]] = Field(default_factory=dict)
    format: Literal["ADM-CID", "SIA-DCS"] = "ADM-CID"
    group: Annotated[int, Field(ge=0, le=99)] = 1
    receiver_number: Annotated[str, Field(pattern=_HEX_NUMBER)] = "0"
    line_prefix: Annotated[str, Field(pattern=_HEX_NUMBER)] = "0"
    key_file: str | None = None
    key_form: Literal["hex", "text"] = "hex"
    supervision_s: Annotated[int, Field(ge=0, le=86_400)] = 60
    answer_s: Annotated[float, Field(ge=1, le=60)] = 10.0
    late: Literal["skip", "report"] = "skip"
    codes: dict[str, CodeSettings | Literal["off", "on"]] = Field(default_factory=dict)

    @field_validator("addresses")
    @classmethod
    def _places(cls, addresses: tuple[str, ...]) -> tuple[str, ...]:
        refuse(
            f"“{address}” is no address; write for example tcp://station.example:12000"
            for address in addresses
            if (found := re.fullmatch(r"(tcp|udp)://(\[[0-9a-f:.]+\]|[^\s:/\[\]]+):(\d{1,5})", address)) is None
            or not 1 <= int(found[3]) <= 65_535
        )
        return addresses

    @field_validator("codes")
    @classmethod
    def _keys(cls, codes: dict[str, Any]) -> dict[str, Any]:
        refuse(f"“{key}” is no event; docs/outlets/alarm.md lists the keys" for key in codes if not is_code_key(key))
        return codes


class MailSettings(_Choosing):
    """Mail for people. `quiet` is a span such as `22:00-06:30` in the site's zone; `digest` a time of day."""

    kind: Literal["mail"]
    host: _Text
    port: _Port | None = None
    security: Literal["starttls", "tls", "none"] = "starttls"
    ca_file: Path | None = None
    username: str | None = None
    password_file: str | None = None
    sender: _Mailbox
    recipients: Annotated[tuple[_Mailbox, ...], Field(min_length=1, max_length=20)]
    urgent: tuple[str, ...] = ()
    quiet: str | None = None
    most_an_hour: Annotated[int, Field(ge=1, le=60)] = 6
    digest: str | None = None

    @field_validator("urgent")
    @classmethod
    def _urgent_patterns(cls, urgent: tuple[str, ...]) -> tuple[str, ...]:
        return _known_patterns(urgent)

    def _misfits(self) -> Iterator[str]:
        if (self.username is None) != (self.password_file is None):
            yield "username and password_file belong together; write both or none"
        if self.security == "none" and self.username is not None and not _is_here(self):
            yield 'security: "none" would send the password in clear; write "starttls" or "tls"'
        if self.quiet is not None and self.quiet_span is None:
            yield f'quiet: “{self.quiet}” stands here; write a span such as "22:00-06:30"'
        if self.digest is not None and _time(self.digest) is None:
            yield f'digest: “{self.digest}” stands here; write a time such as "07:30"'

    @property
    def quiet_span(self) -> tuple[time, time] | None:
        """Begin and end of the quiet hours; None without any, or when they can't be read."""
        begins, _, ends = (self.quiet or "").partition("-")
        first, last = _time(begins), _time(ends)
        return (first, last) if first is not None and last is not None and first != last else None

    @property
    def digest_time(self) -> time | None:
        """When the digest goes out."""
        return _time(self.digest) if self.digest else None


def _is_here(outlet: MqttSettings | MailSettings) -> bool:
    """Whether it leads to this machine, so that a password crosses no network."""
    return outlet.allow_loopback and outlet.host in ("localhost", "127.0.0.1", "::1")


def _kind_of(outlet: object) -> object:
    """What says which of the models an outlet is; pydantic can't look for itself, since `Strict` judges every key."""
    kind = outlet.get("kind") if isinstance(outlet, Mapping) else getattr(outlet, "kind", None)
    return kind if isinstance(kind, str) else None


OutletSettings = Annotated[
    Annotated[WebhookSettings, Tag("webhook")]
    | Annotated[MqttSettings, Tag("mqtt")]
    | Annotated[AlarmSettings, Tag("alarm")]
    | Annotated[MailSettings, Tag("mail")],
    Discriminator(_kind_of),
]
_KINDS: Mapping[str, type[Strict]] = {
    "webhook": WebhookSettings,
    "mqtt": MqttSettings,
    "alarm": AlarmSettings,
    "mail": MailSettings,
}


def plain_fault(error: ErrorDetails) -> ErrorDetails:
    """One of pydantic's findings without what the choice by `kind` leaves in it; others as they are."""
    loc = error["loc"]
    if not loc or loc[0] != "outlets":
        return error
    if error["type"] in ("union_tag_invalid", "union_tag_not_found"):
        return _said(error, (*loc[:2], "kind"), 'write "webhook", "mqtt", "alarm" or "mail"')
    kind = str(loc[2]) if len(loc) > 2 else ""
    if kind not in _KINDS:
        return error
    place = (*loc[:2], *loc[3:])
    if error["type"] == "extra_forbidden" and len(place) == 3:
        near = difflib.get_close_matches(str(place[-1]), list(_KINDS[kind].model_fields), n=1)
        hint = f"did you mean {near[0]}?" if near else "take it out"
        return _said(error, place, f"unknown key of kind {kind}; {hint}")
    if error["type"] == "string_pattern_mismatch":
        return _said(error, place, f"“{error['input']}” can't stand here; {_FORMS.get(str(place[2]), 'correct it')}")
    return {**error, "loc": place}


_FORMS = {
    "account": "an account has 3 to 16 digits 0-9 A-F",
    "accounts": "an account has 3 to 16 digits 0-9 A-F",
    "receiver_number": "write 1 to 6 digits 0-9 A-F",
    "line_prefix": "write 1 to 6 digits 0-9 A-F",
    "codes": "a SIA code has two capital letters",
    "sender": "write a mail address in ASCII; a domain with other letters in its xn-- form",
    "recipients": "write mail addresses in ASCII; a domain with other letters in its xn-- form",
}


def _said(error: ErrorDetails, loc: tuple[int | str, ...], message: str) -> ErrorDetails:
    return {**error, "loc": loc, "type": "value_error", "msg": message}


def _known_patterns(patterns: tuple[str, ...]) -> tuple[str, ...]:
    refuse(
        f"“{pattern}” is no event; write a name of docs/events.md, a family such as link.*, "
        "or condition.raised:left-open"
        for pattern in patterns
        if not is_pattern(pattern)
    )
    return patterns


def _time(text: str) -> time | None:
    found = re.fullmatch(r"\s*([01]?\d|2[0-3]):([0-5]\d)\s*", text)
    return time(int(found[1]), int(found[2])) if found else None
