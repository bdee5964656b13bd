"""The site itself, and where its API listens."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import Field, field_validator

from gateway.settings.base import Name, Strict

__all__ = ["ApiSettings", "GatewaySettings"]

#: RFC 9116, 2.5.3: a URI of one of these schemes; printable ASCII (RFC 3986), so that it can't break its line.
_CONTACT = re.compile(r"mailto:[!-~]+@[!-~]+|https://[!-~]+|tel:[+0-9][-0-9.()]*")


class GatewaySettings(Strict):
    """The site: its name as rosters write it, its time zone, and where the gateway keeps its own memory."""

    site: Name
    time_zone: str = "UTC"
    state: Path = Path("/var/lib/gatepost")
    clock: Literal["auto", "trusted", "untrusted"] = "auto"
    keep_heard_days: Annotated[int, Field(ge=1, le=3650)] = 90
    keep_history_days: Annotated[int, Field(ge=30, le=3650)] = 730
    keep_audit_days: Annotated[int, Field(ge=30, le=3650)] = 730
    log: Literal["auto", "json", "plain"] = "auto"
    receipt_key_file: str | None = None

    @field_validator("time_zone")
    @classmethod
    def _known_zone(cls, zone: str) -> str:
        try:
            ZoneInfo(zone)
        except (ZoneInfoNotFoundError, ValueError) as fault:
            raise ValueError("not a time zone of the tz database; write for example Europe/Berlin") from fault
        return zone


class ApiSettings(Strict):
    """Where the API listens. Other than loopback needs TLS or an explicit `behind_proxy`."""

    listen: str = "127.0.0.1:8470"
    socket: Path | None = Path("/run/gatepost/api.sock")
    hosts: tuple[str, ...] = ()
    tls_certificate: Path | None = None
    tls_key: Path | None = None
    behind_proxy: bool = False
    connections: Annotated[int, Field(ge=4, le=1000)] = 128
    streams: Annotated[int, Field(ge=1, le=500)] = 60
    requests_per_minute: Annotated[int, Field(ge=60, le=10_000_000)] = 1200
    security_contact: str | None = None

    @field_validator("security_contact")
    @classmethod
    def _reachable(cls, contact: str | None) -> str | None:
        if contact is not None and not _CONTACT.fullmatch(contact):
            raise ValueError("write where to tell of a weakness: mailto:security@quay.example, https://... or tel:+...")
        return contact

    @property
    def host_and_port(self) -> tuple[str, int]:
        """`listen`, taken apart."""
        host, _, port = self.listen.rpartition(":")
        return host.strip("[]"), int(port)

    def _misfits(self) -> Iterator[str]:
        host, colon, port = self.listen.rpartition(":")
        if (self.tls_certificate is None) != (self.tls_key is None):
            yield "tls_certificate and tls_key belong together; write both or none"
        if not colon or not port.isdigit() or not 0 <= int(port) <= 65_535 or not host:
            yield "listen must be HOST:PORT, for example 127.0.0.1:8470"
            return
        loopback = host.strip("[]") in ("127.0.0.1", "::1", "localhost")
        if not loopback and self.tls_certificate is None and self.tls_key is None and not self.behind_proxy:
            yield (
                "listen: an address other than loopback needs tls_certificate and tls_key, "
                "or behind_proxy = true when a proxy on this machine ends TLS"
            )
