"""Counting wrong tokens by address.

Ten in a minute, then 429 (our choice). A token has 256 random bits and can't be guessed; the count keeps the
noise away and is cheap. While an address is shut out, a token that was used from there before still works, so that
somebody's wrong tokens behind the same address don't lock out the people who have good ones.
"""

from __future__ import annotations

import ipaddress
import math
from collections import OrderedDict, deque

__all__ = ["Failures"]

_ADDRESSES = 4096


class Failures:
    """A sliding window of failures per address; at most 4096 addresses, the one longest untouched goes first."""

    def __init__(self, *, limit: int, window_s: float) -> None:
        self._limit = limit
        self._window_s = window_s
        self._failed: OrderedDict[str, deque[float]] = OrderedDict()
        self._good: OrderedDict[tuple[str, str], None] = OrderedDict()

    def wait_s(self, address: str, now: float) -> int:
        """For how many seconds this address is shut out; 0 when it isn't. `now` is monotonic."""
        times = self._failed.get(network_of(address))
        if times is None:
            return 0
        while times and times[0] <= now - self._window_s:
            times.popleft()
        return math.ceil(times[0] + self._window_s - now) if len(times) >= self._limit else 0

    def failed(self, address: str, now: float) -> None:
        """A wrong token came from here."""
        key = network_of(address)
        times = self._failed.setdefault(key, deque(maxlen=self._limit))
        if len(times) < self._limit:
            times.append(now)
        self._failed.move_to_end(key)
        if len(self._failed) > _ADDRESSES:
            self._failed.popitem(last=False)

    def succeeded(self, address: str, token_id: str) -> None:
        """This token was good from here."""
        key = (network_of(address), token_id)
        self._good[key] = None
        self._good.move_to_end(key)
        if len(self._good) > _ADDRESSES:
            self._good.popitem(last=False)

    def is_known(self, address: str, token_id: str) -> bool:
        """Whether this token was good from here before."""
        return (network_of(address), token_id) in self._good


def network_of(address: str) -> str:
    """What counts as one address: an IPv4 address, or the /64 of an IPv6 address, which is one subscriber's."""
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(found, ipaddress.IPv4Address):
        return str(found)
    if found.ipv4_mapped is not None:
        return str(found.ipv4_mapped)
    return str(ipaddress.ip_network((found, 64), strict=False))
