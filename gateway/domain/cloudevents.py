"""Events as people outside see them: CloudEvents 1.0 in its JSON format.

`source` and `id` together are unique. `time` is left out while wall time is not known to be right, rather than
guessed. Nothing personal stands in the context attributes (CloudEvents 1.0, Privacy and Security).
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any
from urllib.parse import quote

from gateway.domain.events import Event
from gateway.domain.visibility import visible_data

__all__ = ["TYPE_PREFIX", "cloud_event", "source_of", "write_time"]

TYPE_PREFIX = "local.gatepost."


def cloud_event(event: Event, *, gateway_id: str, personal: bool) -> dict[str, Any]:
    """The CloudEvents object. `personal` False leaves names of people out of its data.

    The data of an event read after a gap has `late` with `earliest` and `latest`: it is history, not news.
    """
    data = visible_data(event, personal=personal)
    if event.late is not None:
        data["late"] = {"earliest": write_time(event.late.earliest), "latest": write_time(event.late.latest)}
    found: dict[str, Any] = {
        "specversion": "1.0",
        "id": str(event.id),
        "source": source_of(gateway_id),
        "type": TYPE_PREFIX + event.name,
    }
    if event.clock_trusted:
        found["time"] = write_time(event.time)
    if event.receiver:
        found["subject"] = event.receiver
    return found | {"datacontenttype": "application/json", "data": data}


def source_of(gateway_id: str) -> str:
    """The `source` of this gateway's events."""
    return f"/gateways/{quote(gateway_id, safe='')}"


def write_time(time: datetime) -> str:
    """RFC 3339 in UTC, always with milliseconds, so that texts sort as times do."""
    return time.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
