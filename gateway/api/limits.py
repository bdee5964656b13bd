"""How much the API takes on at once.

Values are our choice where no source is named: enough for a site's people and few enough for a small board.
Load tests and settings may raise them.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["Limits"]

_MEBIBYTE = 1024 * 1024


@dataclass(frozen=True, slots=True)
class Limits:
    """Sizes in bytes, times in seconds.

    `local_connections` is how many more the unix socket may have when the network has used up `connections`.
    A new connection must send a whole request head within `greeting_s`. A stream whose client takes nothing for
    `stalled_s` is dropped. A caller is served a minute's worth of `requests_per_minute` at once. `failures` is how
    many wrong tokens one address may show within `failure_window_s`.
    """

    body_bytes: int = _MEBIBYTE
    roster_bytes: int = 10 * _MEBIBYTE
    snapshot_bytes: int = 4 * _MEBIBYTE
    body_s: float = 60.0
    header_bytes: int = 8192
    connections: int = 128
    local_connections: int = 16
    greeting_s: float = 10.0
    streams: int = 60
    heartbeat_s: float = 15.0
    stalled_s: float = 30.0
    page: int = 500
    requests_per_minute: int = 1200
    failures: int = 10
    failure_window_s: float = 60.0
