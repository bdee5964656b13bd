"""Where things stand below a gateway's own root topic. Topics hold ids alone: no name of a person, no serial.

::

    <prefix>/<site>/state                        online | offline        retained, last will
    <prefix>/<site>/receivers/<receiver>/state   link, inputs, outputs   retained
    <prefix>/<site>/gates/<gate>/state           position                retained
    <prefix>/<site>/events/<name>                events of the gateway itself
    <prefix>/<site>/receivers/<receiver>/events/<name>
    <prefix>/<site>/.../history/<name>           what was read after a gap: not news
    <prefix>/<site>/.../tests/<name>             made up, because somebody tests
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from gateway.domain.events import Event
from gateway.errors import SettingsFault

__all__ = ["Topics", "check_prefix"]


@dataclass(frozen=True, slots=True)
class Topics:
    """Of the gateway `site` below `prefix`."""

    prefix: str
    site: str

    @property
    def root(self) -> str:
        return f"{self.prefix}/{self.site}"

    @property
    def state(self) -> str:
        return f"{self.root}/state"

    def below(self, place: str) -> str:
        """Of something under the root."""
        return f"{self.root}/{place}"

    def event(self, event: Event, *, test: bool = False) -> str:
        """Where an event goes."""
        where = f"receivers/{event.receiver}/" if event.receiver else ""
        kind = "tests" if test else "history" if event.late is not None else "events"
        return self.below(f"{where}{kind}/{event.name.value}")


def check_prefix(prefix: str) -> str:
    """Raises SettingsFault for a prefix that brokers refuse or take for a pattern (MQTT 5, 4.7)."""
    if not re.fullmatch(r"[A-Za-z0-9_.-]+(/[A-Za-z0-9_.-]+)*", prefix):
        remedy = "Use letters, digits, hyphens, dots and underscores, with / between levels."
        raise SettingsFault(f"{prefix!r} can't stand in front of topics.", remedy=remedy)
    return prefix
