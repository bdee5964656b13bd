"""The process at the other end of a unix socket, as the kernel names it (SO_PEERCRED, unix(7))."""

from __future__ import annotations

import asyncio
import socket
import struct

__all__ = ["peer_uid"]

_UCRED = struct.Struct("3i")  # pid, uid, gid: struct ucred


def peer_uid(transport: asyncio.BaseTransport | None) -> int | None:
    """The uid of the peer of a unix socket; None when the connection came over the network."""
    found = transport.get_extra_info("socket") if transport is not None else None
    if found is None or found.family != socket.AF_UNIX:
        return None
    _, uid, _ = _UCRED.unpack(found.getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, _UCRED.size))
    return int(uid)
