"""Which addresses an outlet may connect to: judged after resolving and right before connecting.

The HTTP client asks its resolver for names but never for an address that a URL spells (measured with aiohttp
3.14), so `judge_host` has to be asked as well. The policy itself and its sources are in `domain.addresses`.
"""

from __future__ import annotations

import asyncio
import socket

from gateway.domain.addresses import AddressPolicy, literal_address, looks_like_address

__all__ = ["AddressRefused", "judge_host", "resolve"]


class AddressRefused(OSError):
    """An address that the policy doesn't allow; an OSError, since it ends an attempt to connect."""

    def __init__(self, host: str, address: str, reason: str) -> None:
        super().__init__(f"{host} is {reason}" + ("" if host == address else f" ({address})"))
        self._reason = reason

    @property
    def remedy(self) -> str:
        """What to do, with the key that allows it where one does."""
        if "private network" in self._reason:
            return "Correct the address; when it is meant to be on the local network, set allow_private = true."
        if "this machine" in self._reason:
            return "Correct the address; when it is meant to be on this machine, set allow_loopback = true."
        return "Correct the address."


def judge_host(policy: AddressPolicy, host: str) -> None:
    """Raises AddressRefused when `host` is an address, and not an allowed one."""
    if looks_like_address(host):
        _judge(policy, host, host if literal_address(host) else f"{host}, written short")


async def resolve(policy: AddressPolicy, host: str, port: int) -> list[tuple[int, str]]:
    """Family and address of each place that a name leads to, all of them allowed. Raises OSError, AddressRefused."""
    found = await asyncio.get_running_loop().getaddrinfo(host, port, type=socket.SOCK_STREAM)
    places = [(int(family), str(address[0])) for family, _, _, _, address in found]
    for _, address in places:
        _judge(policy, host, address.partition("%")[0])
    return places


def _judge(policy: AddressPolicy, host: str, address: str) -> None:
    reason = policy.refusal(address)
    if reason is not None:
        raise AddressRefused(host, address, reason)
