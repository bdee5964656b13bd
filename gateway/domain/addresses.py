"""Which network addresses the gateway may be led to: a roster's source, a webhook, a mail server.

An address in the settings, a redirect or a name server could point the gateway at itself, at its neighbours
or at a cloud's metadata service (OWASP API Security 2023, API7: server-side request forgery). So every
address is judged after it was resolved and right before it is used; a name that resolves to one address that
is allowed and to another that isn't is refused as a whole.

Sources: RFC 6890 and the IANA special-purpose registries, which the stdlib's `ipaddress` follows; RFC 6052
(NAT64), RFC 3056 (6to4) and RFC 4380 (Teredo) for IPv4 addresses inside of IPv6 ones.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv6Address, IPv6Network, ip_address, ip_network

__all__ = ["AddressPolicy", "literal_address", "looks_like_address"]

_PRIVATE = tuple(map(ip_network, ("10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "100.64.0.0/10", "fc00::/7")))
_NAT64 = IPv6Network("64:ff9b::/96")
_NUMBERS = re.compile(r"(0x[0-9a-f]*|[0-9]*)(\.(0x[0-9a-f]*|[0-9]*))*\.?", re.IGNORECASE)


def looks_like_address(host: str) -> bool:
    """Whether a URL's host is an address rather than a name, also in the old short forms (`127.1`, `0x7f000001`).

    The HTTP client asks no resolver for what looks like this, so nothing else would judge it.
    """
    return ":" in host or _NUMBERS.fullmatch(host) is not None


def literal_address(host: str) -> IPv4Address | IPv6Address | None:
    """The address that a host spells in full; None when it spells none."""
    try:
        return ip_address(host)
    except ValueError:
        return None


@dataclass(frozen=True, slots=True)
class AddressPolicy:
    """Public addresses only, unless told otherwise. `allow_loopback` is for tests and the demo."""

    allow_private: bool = False
    allow_loopback: bool = False

    def refusal(self, text: str) -> str | None:
        """Why this address is refused, in words; None when it may be used."""
        address = literal_address(text)
        if address is None:
            return "not an address in its full form"
        if isinstance(address, IPv6Address) and address in _NAT64:
            # what a name server of a network without IPv4 answers for every IPv4 host
            return self.refusal(str(IPv4Address(int(address) & 0xFFFF_FFFF)))
        private = any(address.version == network.version and address in network for network in _PRIVATE)
        reserved = not address.is_global or address.is_reserved or getattr(address, "is_site_local", False)
        rules = (
            (_carries_ipv4(address), "an IPv4 address inside an IPv6 one"),
            (address.is_loopback, None if self.allow_loopback else "this machine itself"),
            (address.is_link_local, "a link-local address"),
            (address.is_multicast or address.is_unspecified, "no address of a single machine"),
            (private, None if self.allow_private else "an address of a private network"),
            (reserved, "a reserved address"),
        )
        return next((reason for applies, reason in rules if applies), None)


def _carries_ipv4(address: IPv4Address | IPv6Address) -> bool:
    if isinstance(address, IPv4Address):
        return False
    inside = address.ipv4_mapped or address.sixtofour or address.teredo
    compatible = int(address) >> 32 == 0 and int(address) > 1  # RFC 4291, 2.5.5.1, deprecated
    return inside is not None or compatible
