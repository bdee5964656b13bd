"""Writing server-sent events (WHATWG HTML, section 9.2).

A block is `id`, `event` and `data` lines and a blank line. Our data is JSON on one line, so no line break is
ever inside a field. A comment keeps the connection from looking dead; it has no blank line after it, for some
clients take a blank line for an event.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any

__all__ = ["HEARTBEAT", "OPENING", "block"]

HEARTBEAT = b": still here\n"
OPENING = b": gatepost events\nretry: 2000\n"  # milliseconds before a client tries again


def block(event_id: str, name: str, data: Mapping[str, Any]) -> bytes:
    """One event. Raises ValueError when the id or the name can't stand on one line."""
    if any(character in text for text in (event_id, name) for character in "\r\n\0"):
        raise ValueError("an event's id and name stand on one line")
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    return f"id: {event_id}\nevent: {name}\ndata: {text}\n\n".encode()
