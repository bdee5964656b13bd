"""How many requests a caller may make."""

from __future__ import annotations

import pytest
from aiohttp import web

from gateway.api.caller import CALLER, Caller
from gateway.api.faults import RequestFault
from gateway.api.rates import Rates, rate_middleware
from gateway.api.scopes import Scope
from tests.fakes.api_bench import ApiBench
from tests.fakes.clock import FakeClock
from tests.fakes.http_requests import request_to


def test_a_minute_s_worth_at_once_and_then_evenly() -> None:
    """Sixty a minute: sixty now, then one a second; the word of how long to wait is true."""
    rates = Rates(60)
    assert [rates.wait_s("a", 100.0) for _ in range(61)] == [0] * 60 + [1]
    assert rates.wait_s("a", 100.9) == 1
    assert rates.wait_s("a", 101.0) == 0
    assert rates.wait_s("a", 101.0) == 1
    assert [rates.wait_s("a", 10_000.0) for _ in range(61)] == [0] * 60 + [1]


def test_callers_don_t_take_from_each_other() -> None:
    """One that asks too often is no harm to the next."""
    rates = Rates(1)
    assert rates.wait_s("a", 0.0) == 0
    assert rates.wait_s("a", 0.0) == 60
    assert rates.wait_s("b", 0.0) == 0


def test_callers_are_bounded() -> None:
    """Whoever was silent longest is forgotten, which only gives a full bucket back."""
    rates = Rates(1)
    for number in range(5000):
        rates.wait_s(str(number), 0.0)
    assert rates.wait_s("4999", 0.0) == 60
    assert rates.wait_s("0", 0.0) == 0


async def test_who_is_counted() -> None:
    """Tokens by their id, strangers by address; processes on the board are not."""
    middleware = rate_middleware(Rates(1), FakeClock())
    app = ApiBench().application()

    async def handler(request: web.Request) -> web.Response:
        return web.Response()

    async def ask(caller: Caller | None, path: str = "/healthz") -> int:
        request = request_to(app, "GET", path)
        if caller is not None:
            request[CALLER] = caller
        try:
            response: web.Response = await middleware(request, handler)
        except RequestFault as fault:
            return {"too-many-requests": 429}[fault.code] if fault.headers["Retry-After"] == "60" else 0
        return response.status

    view = frozenset({Scope.VIEW})
    assert [await ask(Caller("token:t1", view, "t1")) for _ in range(2)] == [200, 429]
    assert [await ask(Caller("token:t2", view, "t2")) for _ in range(2)] == [200, 429]
    assert [await ask(None) for _ in range(2)] == [200, 429]
    assert [await ask(Caller("local:0", view)) for _ in range(3)] == [200, 200, 200]
    for path in ("/", "/page/app/main.js"):  # a page that is opened often has some seventy files each time
        assert [await ask(None, path) for _ in range(3)] == [200, 200, 200]
    assert await ask(None, "/api/v1/page/") == 429


@pytest.mark.parametrize("per_minute", [1, 7, 1200])
def test_what_is_promised_is_kept(per_minute: int) -> None:
    """After the wait that was named the next request is served."""
    rates = Rates(per_minute)
    now = 5.0
    for _ in range(per_minute):
        assert rates.wait_s("a", now) == 0
    wait = rates.wait_s("a", now)
    assert wait > 0
    assert rates.wait_s("a", now + wait) == 0
