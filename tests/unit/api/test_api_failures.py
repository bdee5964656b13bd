"""Counting wrong tokens."""

from __future__ import annotations

import pytest

from gateway.api.failures import Failures, network_of


def test_ten_a_minute_and_no_more() -> None:
    """The tenth failure shuts the address out until the first is a minute old."""
    failures = Failures(limit=10, window_s=60)
    for second in range(9):
        failures.failed("192.0.2.7", float(second))
    assert failures.wait_s("192.0.2.7", 9.0) == 0
    failures.failed("192.0.2.7", 9.0)
    assert failures.wait_s("192.0.2.7", 9.0) == 51
    assert failures.wait_s("192.0.2.8", 9.0) == 0
    assert failures.wait_s("192.0.2.7", 59.9) == 1
    assert failures.wait_s("192.0.2.7", 60.0) == 0


def test_failing_on_does_not_lengthen_it() -> None:
    """While shut out, further failures are not counted, so somebody else behind the address gets in again."""
    failures = Failures(limit=2, window_s=60)
    for moment in (0.0, 1.0, 2.0, 30.0, 59.0):
        failures.failed("192.0.2.7", moment)
    assert failures.wait_s("192.0.2.7", 60.5) == 0


def test_memory_is_bounded() -> None:
    """A flood of addresses forgets the oldest, and keeps the newest."""
    failures = Failures(limit=1, window_s=60)
    for number in range(5000):
        failures.failed(f"198.51.{number // 256}.{number % 256}", 0.0)
        failures.succeeded(f"198.51.{number // 256}.{number % 256}", "t1")
    assert failures.wait_s("198.51.0.0", 1.0) == 0
    assert not failures.is_known("198.51.0.0", "t1")
    assert failures.wait_s("198.51.19.135", 1.0) == 59
    assert failures.is_known("198.51.19.135", "t1")


@pytest.mark.parametrize(
    ("one", "other"),
    [("2001:db8:1:2::1", "2001:db8:1:2:ffff::9"), ("::ffff:192.0.2.7", "192.0.2.7"), ("fe80::1%eth0", "fe80::2")],
)
def test_one_subscriber_is_one_address(one: str, other: str) -> None:
    """RFC 4291, 2.5.4: the last 64 bits are the subscriber's to choose, so they tell nobody apart."""
    assert network_of(one) == network_of(other)
    assert network_of("2001:db8:1:2::1") != network_of("2001:db8:1:3::1")
