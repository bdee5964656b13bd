"""Which addresses a roster may come from."""

from __future__ import annotations

import pytest

from gateway.domain.addresses import AddressPolicy, literal_address, looks_like_address


@pytest.mark.parametrize("address", ["8.8.8.8", "2001:4860:4860::8888", "64:ff9b::808:808"])
def test_public_addresses(address: str) -> None:
    """Any public address, also one that a DNS64 server made of an IPv4 one (RFC 6147)."""
    assert AddressPolicy().refusal(address) is None


@pytest.mark.parametrize("address", ["127.0.0.1", "127.8.8.8", "::1"])
def test_this_machine(address: str) -> None:
    """Loopback only where tests and the demo allow it."""
    assert AddressPolicy(allow_private=True).refusal(address)
    assert AddressPolicy(allow_loopback=True).refusal(address) is None


@pytest.mark.parametrize(
    "address", ["10.0.0.1", "172.16.0.1", "172.31.255.254", "192.168.1.1", "100.64.0.1", "fd00::1"]
)
def test_private_addresses(address: str) -> None:
    """RFC 1918, RFC 6598 and RFC 4193 networks only when the settings say so."""
    assert AddressPolicy(allow_loopback=True).refusal(address)
    assert AddressPolicy(allow_private=True).refusal(address) is None


@pytest.mark.parametrize(
    "address",
    [
        "169.254.169.254",
        "fe80::1",
        "fe80::1%eth0",
        "224.0.0.1",
        "ff02::1",
        "0.0.0.0",
        "::",
        "0.1.2.3",
        "192.0.2.1",
        "198.18.0.1",
        "240.0.0.1",
        "255.255.255.255",
        "fec0::1",
        "2001:db8::1",
        "::ffff:8.8.8.8",
        "::ffff:127.0.0.1",
        "::7f00:1",
        "2002:7f00:1::",
        "2001:0:7f00:1::",
        "64:ff9b::a9fe:a9fe",
        "127.1",
        "2130706433",
        "localhost",
        "",
    ],
)
def test_never(address: str) -> None:
    """Link-local, multicast, unspecified, reserved and IPv4 within IPv6: refused whatever is allowed."""
    assert AddressPolicy(allow_private=True, allow_loopback=True).refusal(address)


@pytest.mark.parametrize(
    "host", ["127.0.0.1", "::1", "127.1", "2130706433", "0x7f000001", "0x7f.1", "017700000001", ""]
)
def test_hosts_that_no_resolver_is_asked_for(host: str) -> None:
    """Whatever an address parser of any age would take for an address."""
    assert looks_like_address(host)


@pytest.mark.parametrize("host", ["localhost", "roster.fennel-quay.example", "0xfennel.example", "1a.example"])
def test_names(host: str) -> None:
    """Names go to the resolver, whose answers are judged."""
    assert not looks_like_address(host)
    assert literal_address(host) is None
