"""Events to a web address: CloudEvents 1.0 in structured mode, signed as Standard Webhooks 1.0.0 says.

Each event is one POST. Only 2xx counts as delivered; a redirect is a failure, for following one could lead anywhere
with our signature; 410 disables; 400, 409, 413, 415 and 422 refuse this event, everything else is the endpoint's
trouble. What the answer says beside its status is not read. Where it may lead is judged at each try (`reach`).
"""

from __future__ import annotations

import socket
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from http import HTTPStatus
from pathlib import Path
from typing import TypeVar

import aiohttp
from aiohttp.abc import AbstractResolver, ResolveResult
from yarl import URL

from gateway.clock import Clock
from gateway.domain.addresses import AddressPolicy
from gateway.domain.cloudevents import cloud_event
from gateway.domain.events import Event
from gateway.errors import SettingsFault
from gateway.outlets.choice import Choice
from gateway.outlets.documents import write_document
from gateway.outlets.idling import idle
from gateway.outlets.reach import AddressRefused, judge_host, resolve
from gateway.outlets.samples import sample_drafts, samples_for
from gateway.outlets.schedules import STANDARD_WEBHOOKS
from gateway.outlets.signing import sign
from gateway.outlets.tls import certificate_problem, client_context
from gateway.ports import (
    Delivered,
    Delivery,
    EventRejected,
    Outlet,
    OutletDisabled,
    Parcel,
    Report,
    RetryLater,
    Sample,
)

__all__ = ["TIMEOUT_S", "Webhook", "WebhookPlan", "check_url", "read_retry_after"]

TIMEOUT_S = 20.0  # Standard Webhooks: 15 to 30 s
_LONGEST_WAIT_S = 86_400.0  # our choice: what another side asks for is heeded up to a day
_REFUSES_THE_EVENT = frozenset((400, 409, 413, 415, 422))
_CONTENT_TYPE = "application/cloudevents+json; charset=utf-8"
_SLOW_DOWN = frozenset((429, 502, 504))
E = TypeVar("E", bound=BaseException)


@dataclass(frozen=True, slots=True)
class WebhookPlan:
    """What the settings ask for. `keys` sign all, newest first; `authorization` is a whole header value."""

    name: str
    url: str
    keys: tuple[bytes, ...]
    gateway_id: str
    receivers: tuple[str, ...]
    choice: Choice = field(default_factory=Choice)
    personal: bool = False
    authorization: str | None = None
    ca_file: Path | None = None
    policy: AddressPolicy = field(default_factory=AddressPolicy)
    allow_plain_http: bool = False


class Webhook(Outlet):
    """`ports.Outlet`. Raises SettingsFault for an address or certificates that can't be used."""

    kind = "webhook"
    batch = 1

    def __init__(self, plan: WebhookPlan, clock: Clock) -> None:
        self._plan = plan
        self._clock = clock
        self._url = check_url(plan)
        self._tls = client_context(plan.ca_file)

    @property
    def name(self) -> str:
        return self._plan.name

    @property
    def place(self) -> str:
        return str(self._url.with_query(None))

    def wants(self, event: Event) -> bool:
        return self._plan.choice.takes(event, self.name)

    def delay_s(self, failures: int) -> float:
        return STANDARD_WEBHOOKS.delay_s(failures)

    async def run(self, report: Report) -> None:
        await idle()

    def samples(self) -> tuple[Sample, ...]:
        conditions = self._plan.choice.conditions
        drafts = sample_drafts(self._plan.receivers[0] if self._plan.receivers else "", conditions)
        return samples_for(drafts, self.wants)

    async def deliver(self, parcels: Sequence[Parcel]) -> Delivery:
        """One POST. Cancellation is safe; the event may then have arrived."""
        event = parcels[0].event
        body = write_document(cloud_event(event, gateway_id=self._plan.gateway_id, personal=self._plan.personal))
        try:
            async with self._clock.timeout(TIMEOUT_S):
                return await self._post(str(event.id), body)
        except TimeoutError:
            return RetryLater(f"{self._host} did not answer within {TIMEOUT_S:g} s.", "Look at the server.")
        except (aiohttp.ClientError, OSError, ValueError) as error:
            return self._failure(error)

    @property
    def _host(self) -> str:
        return self._url.host or ""

    async def _post(self, event_id: str, body: bytes) -> Delivery:
        judge_host(self._plan.policy, self._host)
        connector = aiohttp.TCPConnector(
            resolver=_Resolver(self._plan.policy), ssl=self._tls, use_dns_cache=False, force_close=True
        )
        async with (
            aiohttp.ClientSession(
                connector=connector,
                cookie_jar=aiohttp.DummyCookieJar(),
                timeout=aiohttp.ClientTimeout(total=None),
            ) as session,
            session.post(
                self._url, data=body, headers=self._headers(event_id, body), allow_redirects=False
            ) as response,
        ):
            return self._outcome(response.status, response.headers)

    def _headers(self, event_id: str, body: bytes) -> dict[str, str]:
        timestamp = int(self._clock.now().timestamp())
        headers = {
            "Content-Type": _CONTENT_TYPE,
            "User-Agent": "gatepost",
            "webhook-id": event_id,
            "webhook-timestamp": str(timestamp),
            "webhook-signature": sign(self._plan.keys, event_id, timestamp, body),
        }
        if self._plan.authorization:
            headers["Authorization"] = self._plan.authorization
        return headers

    def _outcome(self, status: int, headers: Mapping[str, str]) -> Delivery:
        said = f"{self._host} answers {status}{_phrase(status)}"
        if 200 <= status < 300:
            return Delivered(f"HTTP {status}")
        if status == HTTPStatus.GONE:
            return OutletDisabled(f"{said}: it wants nothing more.", "Correct the address, or replay to try again.")
        if status in _REFUSES_THE_EVENT:
            return EventRejected(f"{said} to this event.", "Look at the endpoint's own log; replay when it is mended.")
        if 300 <= status < 400:
            return RetryLater(f"{said}: redirects are not followed.", "Write the final address into the settings.")
        wait = read_retry_after(headers.get("Retry-After", ""), self._clock.now())
        slower = f"{said}: it asks to slow down." if status in _SLOW_DOWN or wait else f"{said}."
        return RetryLater(slower, "Look at the endpoint; it is tried again.", wait)

    def _failure(self, error: Exception) -> RetryLater:
        refused = _cause(error, AddressRefused)
        if refused is not None:
            return RetryLater(f"The webhook's address can't be used: {refused}.", refused.remedy)
        if isinstance(error, aiohttp.ClientSSLError):
            found = getattr(error, "certificate_error", None) or getattr(error, "os_error", None) or error
            return RetryLater(*certificate_problem(found, self._host))
        if isinstance(error, aiohttp.ServerDisconnectedError):
            return RetryLater(f"{self._host} closed the connection without an answer.", "Look at the server.")
        reason = error.os_error if isinstance(error, aiohttp.ClientConnectorError) else _cause(error, OSError)
        words = reason.strerror if reason is not None and reason.strerror else type(error).__name__
        return RetryLater(f"No answer from {self._host}: {words}.", "Look at the server and the network.")


class _Resolver(AbstractResolver):
    def __init__(self, policy: AddressPolicy) -> None:
        self._policy = policy

    async def resolve(
        self, host: str, port: int = 0, family: socket.AddressFamily = socket.AF_UNSPEC
    ) -> list[ResolveResult]:
        return [
            ResolveResult(hostname=host, host=address, port=port, family=found, proto=0, flags=socket.AI_NUMERICHOST)
            for found, address in await resolve(self._policy, host, port)
        ]

    async def close(self) -> None:
        return None


def read_retry_after(text: str, now: datetime) -> float | None:
    """Seconds of a Retry-After header (RFC 9110, 10.2.3: a number or a date), at most a day; None for neither."""
    text = text.strip()
    if text.isascii() and text.isdigit():
        return min(float(text), _LONGEST_WAIT_S)
    try:
        wait = (parsedate_to_datetime(text).astimezone(UTC) - now).total_seconds()
    except (ValueError, OverflowError):
        return None
    return min(max(wait, 0.0), _LONGEST_WAIT_S)


def _phrase(status: int) -> str:
    try:
        return f" ({HTTPStatus(status).phrase})"
    except ValueError:
        return ""


def _cause(error: BaseException | None, kind: type[E]) -> E | None:
    seen = 0
    while error is not None and seen < 8:
        if isinstance(error, kind):
            return error
        inner = error.os_error if isinstance(error, aiohttp.ClientConnectorError) else error.__cause__
        error, seen = inner or error.__context__, seen + 1
    return None


def check_url(plan: WebhookPlan) -> URL:
    """The address of the settings, as far as it can be judged without a network."""
    try:
        url = URL(plan.url)
    except ValueError as error:
        raise SettingsFault("A webhook's address can't be read.", remedy="Write https://host/path.") from error
    if url.scheme not in ("https", "http") or not url.host:
        raise SettingsFault(f"The webhook {plan.name} has no web address.", remedy="Write https://host/path.")
    if url.user is not None or url.password is not None:
        remedy = "Put it into the file that authorization_file names."
        raise SettingsFault(f"The webhook {plan.name} has a password in its address.", remedy=remedy)
    if url.scheme == "http" and not plan.allow_plain_http:
        remedy = "Use https, or set allow_plain_http = true: anybody on the way could then read the events."
        raise SettingsFault(f"The webhook {plan.name} goes over plain http.", remedy=remedy)
    return url.with_fragment(None)
