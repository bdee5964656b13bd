"""The memory behind `Idempotency-Key`."""

from __future__ import annotations

import pytest
from aiohttp import web

from gateway.api.faults import RequestFault
from gateway.api.idempotency import Idempotency
from tests.fakes.clock import FakeClock

_KEY = ("token:t1", "POST", "/api/v1/plans", "abc")


def _answer() -> web.Response:
    return web.Response(
        status=202, body=b"{}", headers={"Content-Type": "application/json", "Location": "/p", "X-Other": "1"}
    )


def test_the_same_request_is_answered_from_memory() -> None:
    """Status, body and place are as before, and the answer says that it is a repetition."""
    keys = Idempotency(FakeClock())
    assert keys.begin(_KEY, b"{}") is None
    keys.keep(_KEY, _answer())
    again = keys.begin(_KEY, b"{}")
    assert again is not None
    assert (again.status, again.body, again.headers["Location"]) == (202, b"{}", "/p")
    assert again.headers["Idempotency-Replayed"] == "true"
    assert "X-Other" not in again.headers
    assert keys.begin((*_KEY[:3], "other"), b"{}") is None
    assert keys.begin(("token:t2", *_KEY[1:]), b"{}") is None


def test_another_body_and_an_unfinished_request_are_refused() -> None:
    """A key stands for one body; while the first is worked on the second waits outside."""
    keys = Idempotency(FakeClock())
    keys.begin(_KEY, b"{}")
    with pytest.raises(RequestFault) as busy:
        keys.begin(_KEY, b"{}")
    assert busy.value.code == "idempotency-key-busy"
    with pytest.raises(RequestFault) as reused:
        keys.begin(_KEY, b'{"a":1}')
    assert reused.value.code == "idempotency-key-reused"


def test_a_request_that_failed_frees_its_key() -> None:
    """After an error it may be tried again with the same key."""
    keys = Idempotency(FakeClock())
    keys.begin(_KEY, b"{}")
    keys.forget(_KEY)
    assert keys.begin(_KEY, b'{"a":1}') is None


async def test_keys_are_forgotten_after_a_day() -> None:
    """And not before."""
    clock = FakeClock()
    keys = Idempotency(clock)
    keys.begin(_KEY, b"{}")
    keys.keep(_KEY, _answer())
    await clock.advance(24 * 3600 - 1)
    assert keys.begin(_KEY, b"{}") is not None
    await clock.advance(2)
    assert keys.begin(_KEY, b"{}") is None


def test_memory_is_bounded() -> None:
    """A thousand keys are kept; the oldest gives way, and an answer that comes for it later is no error."""
    keys = Idempotency(FakeClock())
    for number in range(1001):
        keys.begin((*_KEY[:3], str(number)), b"")
    assert len(keys._entries) == 1000
    keys.keep((*_KEY[:3], "0"), _answer())
    assert keys.begin((*_KEY[:3], "0"), b"") is None
