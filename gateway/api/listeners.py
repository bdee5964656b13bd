"""Where the API listens: network addresses and unix socket paths.

Opening a listener binds its socket before anything is served, so that a wrong address stops the start with a
sentence. Anything but loopback needs TLS, or somebody's word that a proxy in front has it.
"""

from __future__ import annotations

import errno
import ipaddress
import os
import socket
import stat
from dataclasses import dataclass
from pathlib import Path
from ssl import SSLContext

from gateway.errors import Refused, SettingsFault

__all__ = ["Listener", "TcpListener", "UnixListener", "open_socket"]

_SOCKET_UMASK = 0o117  # leaves 0660


@dataclass(frozen=True, slots=True)
class TcpListener:
    """A network address. Port 0 takes a free one. `behind_proxy` says that a proxy in front has TLS."""

    host: str
    port: int
    tls: SSLContext | None = None
    behind_proxy: bool = False


@dataclass(frozen=True, slots=True)
class UnixListener:
    """A path on the board; mode 0660, so that the folder's and the socket's group decide who gets in."""

    path: Path


Listener = TcpListener | UnixListener


def open_socket(listener: Listener) -> socket.socket:
    """A bound socket. Raises SettingsFault or Refused with what to do."""
    return _open_unix(listener.path) if isinstance(listener, UnixListener) else _open_tcp(listener)


def _open_tcp(listener: TcpListener) -> socket.socket:
    if listener.tls is None and not listener.behind_proxy and not _is_loopback(listener.host):
        raise SettingsFault(
            f"The API would listen on {listener.host} without TLS.",
            remedy="Name a certificate and key, or listen on 127.0.0.1, or say that a proxy in front has TLS.",
            code="listen-needs-tls",
        )
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(
            listener.host, listener.port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )[0]
        found = socket.socket(family, kind, protocol)
    except OSError as error:
        raise _unusable(f"{listener.host}:{listener.port}", error) from error
    found.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    return _bind(found, address, f"{listener.host}:{listener.port}")


def _open_unix(path: Path) -> socket.socket:
    _remove_stale(path)
    found = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
    before = os.umask(_SOCKET_UMASK)  # no await in between: nothing else makes files meanwhile
    try:
        return _bind(found, str(path), str(path))
    finally:
        os.umask(before)


def _bind(found: socket.socket, address: object, name: str) -> socket.socket:
    try:
        found.bind(address)  # type: ignore[arg-type]
    except OSError as error:
        found.close()
        raise _unusable(name, error) from error
    return found


def _remove_stale(path: Path) -> None:
    """A socket file that nobody listens on is left from an earlier run; anything else is not ours to remove."""
    try:
        if not stat.S_ISSOCK(path.stat().st_mode):
            raise Refused(f"{path} exists and is no socket.", remedy="Remove it or set another path.")
    except FileNotFoundError:
        return
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as probe:
        try:
            probe.connect(str(path))
        except ConnectionRefusedError:
            path.unlink(missing_ok=True)
            return
    raise Refused(
        f"Another program listens on {path}.", remedy="Stop it first, or set another path.", code="address-in-use"
    )


def _unusable(name: str, error: OSError) -> Refused:
    if error.errno == errno.EADDRINUSE:
        return Refused(
            f"Another program listens on {name}.",
            remedy="Stop it first, or set another address.",
            code="address-in-use",
        )
    reason = os.strerror(error.errno) if error.errno and error.errno > 0 else str(error)
    return Refused(
        f"The API can't listen on {name}: {reason}.", remedy="Set an address of this machine.", code="address-unusable"
    )


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
