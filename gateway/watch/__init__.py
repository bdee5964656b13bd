"""Watching: polling, events, the live state and the mirrors.

A use case: it needs receivers, the journal, mirrors and plans through `ports`, and nothing of lines or databases.
"""

from __future__ import annotations

from gateway.watch.service import DEFAULT_POLL_RATE_HZ, Watch, Watched
from gateway.watch.telling import Names

__all__ = ["DEFAULT_POLL_RATE_HZ", "Names", "Watch", "Watched"]
