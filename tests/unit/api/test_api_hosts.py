"""Reading a Host header."""

from __future__ import annotations

import pytest

from gateway.api.hosts import host_of


@pytest.mark.parametrize(
    ("header", "host"),
    [
        ("localhost", "localhost"),
        ("LocalHost:8470", "localhost"),
        ("localhost.", "localhost"),
        ("127.0.0.1:8470", "127.0.0.1"),
        ("127.0.0.1:", "127.0.0.1"),
        ("[::1]:8470", "[::1]"),
        ("[::1]", "[::1]"),
        ("[::1]evil.example", ""),
        ("[::1", ""),
        ("localhost:8470@evil.example", ""),
        ("evil.example:80:80", ""),
        ("localhost:٣", ""),
        ("", ""),
    ],
)
def test_the_host_without_its_port(header: str, host: str) -> None:
    """RFC 9110, 7.2 (uri-host, optional port), in lower case; what is no host is nothing."""
    assert host_of(header) == host
