"""The settings file: one TOML file, read once, strict, frozen.

Only the start (`cli`, `daemon`) sees these models; every other room gets plain values. Secrets never stand in
the file: it names other files or systemd credentials (`credential:NAME`). Every fault is told in one pass
with the line it stands on, the key, and what to write.
"""

from __future__ import annotations

from gateway.settings.reading import load_settings, parse_settings
from gateway.settings.receivers import LineSettings, ReceiverSettings
from gateway.settings.roster import RosterSettings, SnapshotSettings
from gateway.settings.site import ApiSettings, GatewaySettings
from gateway.settings.whole import Settings

__all__ = [
    "ApiSettings",
    "GatewaySettings",
    "LineSettings",
    "ReceiverSettings",
    "RosterSettings",
    "Settings",
    "SnapshotSettings",
    "load_settings",
    "parse_settings",
]
