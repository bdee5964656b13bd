"""How many requests one caller may make: a bucket of tokens for each (the leaky bucket as a meter, ITU-T I.371).

A bucket holds a minute's worth, so a page that opens or a script that reads everything once is served at once, and
refills evenly. Processes on the board are not counted: they are root's or our own. Nor are the page's files: there are
some seventy, an office behind one address opens it often, and without one of them it would never come up.
"""

from __future__ import annotations

import math
from collections import OrderedDict
from typing import Any

from aiohttp import web

from gateway.api.addresses import client_address
from gateway.api.caller import CALLER
from gateway.api.faults import RequestFault
from gateway.api.page_files import is_page_file
from gateway.clock import Clock

__all__ = ["Rates", "rate_middleware"]

_CALLERS = 4096


class Rates:
    """`per_minute` requests for each caller; at most 4096 callers, the one longest silent goes first."""

    def __init__(self, per_minute: int) -> None:
        self._most = float(per_minute)
        self._per_s = per_minute / 60.0
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def wait_s(self, caller: str, now: float) -> int:
        """0 when one more request is served, which it then counts; else in how many whole seconds. `now` is
        monotonic."""
        left, since = self._left.get(caller, (self._most, now))
        left = min(self._most, left + (now - since) * self._per_s)
        served = left >= 1.0
        self._left[caller] = (left - 1.0 if served else left, now)
        self._left.move_to_end(caller)
        if len(self._left) > _CALLERS:
            self._left.popitem(last=False)
        return 0 if served else max(1, math.ceil((1.0 - left) / self._per_s))


def rate_middleware(rates: Rates, clock: Clock) -> Any:
    """A middleware that runs behind authentication. Callers without a token are counted by address."""

    @web.middleware
    async def check(request: web.Request, handler: Any) -> web.StreamResponse:
        caller = request.get(CALLER)
        if (caller is None or caller.token_id) and not is_page_file(request.path):
            name = caller.name if caller else f"address:{client_address(request)}"
            if wait_s := rates.wait_s(name, clock.monotonic()):
                raise RequestFault(
                    "too-many-requests",
                    "Too many requests came with this token or from this address.",
                    remedy=f"Wait {wait_s} s. Follow the event stream instead of asking again and again.",
                    headers={"Retry-After": str(wait_s)},
                )
        response: web.StreamResponse = await handler(request)
        return response

    return check
