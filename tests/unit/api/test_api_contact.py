"""Whom to tell of a weakness, read by the rules of RFC 9116; and how long this version is mended.

Field names and their limits: RFC 9116, sections 2.4 and 2.5; times: RFC 3339.
"""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from gateway.domain.support import SUPPORT_ENDS
from gateway.errors import SettingsFault
from gateway.settings import ApiSettings, parse_settings
from tests.fakes.api_bench import ApiBench, Client
from tests.fakes.clock import FakeClock

_PATH = "/.well-known/security.txt"
_PROMISE = (Path(__file__).parents[3] / "SECURITY.md").read_text("utf-8")


async def _fields(client: Client, host: str = "localhost") -> dict[str, str]:
    reply = await client.ask("GET", _PATH, headers={"Host": host, "Authorization": ""})
    assert (reply.status, reply.headers["Content-Type"]) == (200, "text/plain; charset=utf-8")
    text = reply.body.decode()
    assert text.endswith("\n")
    pairs = [line.partition(": ")[::2] for line in text.splitlines()]
    assert len(pairs) == len({name for name, _ in pairs})
    return dict(pairs)


async def test_who_finds_a_weakness_is_told_whom_to_tell() -> None:
    """Without a token; the answer is good for less than a year, and each one begins that time anew (2.5.5)."""
    clock = FakeClock()
    bench = ApiBench(clock=clock)
    async with bench.served() as client:
        first = await _fields(client)
        assert first["Contact"] == "mailto:security@fennel-quay.example"
        assert first["Preferred-Languages"] == "en"
        assert "Canonical" not in first
        expires = datetime.fromisoformat(first["Expires"])
        assert timedelta(days=30) < expires - clock.now() < timedelta(days=365)
        await clock.advance(86_400)
        assert datetime.fromisoformat((await _fields(client))["Expires"]) - expires == timedelta(days=1)


async def test_behind_tls_it_names_its_own_address() -> None:
    """`Canonical` (2.5.2) is an https address, under the name that was asked."""
    async with ApiBench().served(behind_proxy=True) as client:
        fields = await _fields(client, "Gate.Fennel-Quay.example:8443")
        assert fields["Canonical"] == "https://gate.fennel-quay.example:8443/.well-known/security.txt"


async def test_without_a_contact_there_is_none() -> None:
    """404 with what to do, and nothing else is told to a stranger."""
    bench = ApiBench()
    bench.security_contact = ""
    async with bench.served() as client:
        reply = await client.get(_PATH, headers={"Authorization": ""})
        assert (reply.status, reply.problem) == (404, "not-found")
        assert "security_contact" in reply.json["remedy"]


@pytest.mark.parametrize(
    "contact", ["mailto:security@quay.example", "https://quay.example/tell-us", "tel:+44-20-7946-0000"]
)
def test_contacts_that_can_be_set(contact: str) -> None:
    """A URI of mail, web or telephone (2.5.3)."""
    assert ApiSettings(security_contact=contact).security_contact == contact


@pytest.mark.parametrize(
    "contact",
    ["", "security@quay.example", "http://quay.example", "mailto:a@b\\nExpires: never", "https://quay .example"],
)
def test_contacts_that_can_not_be_set(contact: str) -> None:
    """No bare address, no plain HTTP (2.5.3 wants https), and nothing that makes a field of its own."""
    with pytest.raises(SettingsFault, match=r"security_contact.*mailto:"):
        parse_settings(f'[gateway]\nsite = "fennel-quay"\n[api]\nsecurity_contact = "{contact}"\n', "x")


async def test_the_end_of_support_is_told_alike() -> None:
    """ETSI EN 303 645, 5.3-13: published, here in SECURITY.md and in the API."""
    promised = re.search(r"mended until (\d{4}-\d{2}-\d{2})", _PROMISE)
    assert promised is not None
    async with ApiBench().served("view") as client:
        told = (await client.get("/api/v1/gateway")).json["supported_until"]
    assert promised[1] == told == SUPPORT_ENDS.isoformat()
