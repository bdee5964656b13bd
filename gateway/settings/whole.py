"""The whole file: every part. What must fit between them is judged by `rules`."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from gateway.domain.drift import DriftPolicy
from gateway.settings.base import Name, Strict
from gateway.settings.gates import ConditionSettings, GateSettings
from gateway.settings.outlets import OutletSettings
from gateway.settings.receivers import LineSettings, ReceiverSettings
from gateway.settings.roster import RosterSettings, SnapshotSettings
from gateway.settings.site import ApiSettings, GatewaySettings

__all__ = ["Settings"]


class Settings(Strict):
    """The whole file. `reading` alone makes one, and applies the rules between the tables."""

    gateway: GatewaySettings
    api: ApiSettings = ApiSettings()
    lines: dict[Name, LineSettings] = Field(default_factory=dict)
    receivers: Annotated[dict[Name, ReceiverSettings], Field(min_length=1)]
    gates: dict[Name, GateSettings] = Field(default_factory=dict)
    conditions: ConditionSettings = ConditionSettings()
    roster: RosterSettings | None = None
    snapshots: SnapshotSettings = SnapshotSettings()
    outlets: dict[Name, OutletSettings] = Field(default_factory=dict)

    @property
    def drift(self) -> dict[str, DriftPolicy]:
        """By receiver, what becomes of what other hands have changed there: its own word, else the site's."""
        site = (self.roster.drift or self.roster.unknown) if self.roster else None
        words = {name: receiver.drift or site or DriftPolicy.REMOVE for name, receiver in self.receivers.items()}
        return {name: DriftPolicy(word) for name, word in words.items()}
