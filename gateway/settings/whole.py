"""The whole file: every part, and what must fit between them."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from gateway.domain.drift import DriftPolicy
from gateway.maps import built_in_maps
from gateway.settings.base import Name, Strict
from gateway.settings.gates import ConditionSettings, GateSettings, check_gates
from gateway.settings.outlets import OutletSettings, check_outlets
from gateway.settings.receivers import REGISTER_MAP, LineSettings, ReceiverSettings
from gateway.settings.roster import RosterSettings, SnapshotSettings
from gateway.settings.site import ApiSettings, GatewaySettings

__all__ = ["Settings"]


def _check_driver(name: str, receiver: ReceiverSettings) -> None:
    """Raises ValueError when nobody here knows the driver or the map. What stands in a map file is read later."""
    if receiver.driver != REGISTER_MAP:
        from gateway.receivers.building import known_drivers  # noqa: PLC0415 - slow to load, and few files need it

        if receiver.driver not in (known := known_drivers()):
            raise ValueError(
                f"receivers.{name}.driver: there is no driver “{receiver.driver}”; write one of {', '.join(known)}, "
                "or install the package that brings it"
            )
    elif receiver.map not in built_in_maps() and not receiver.map.endswith(".toml"):
        raise ValueError(
            f"receivers.{name}.map: there is no built-in map “{receiver.map}”; write one of "
            f"{', '.join(built_in_maps())}, or the path of a map file that ends in .toml"
        )


class Settings(Strict):
    """The whole file."""

    gateway: GatewaySettings
    api: ApiSettings = ApiSettings()
    lines: dict[Name, LineSettings] = Field(default_factory=dict)
    receivers: Annotated[dict[Name, ReceiverSettings], Field(min_length=1)]
    gates: dict[Name, GateSettings] = Field(default_factory=dict)
    conditions: ConditionSettings = ConditionSettings()
    roster: RosterSettings | None = None
    snapshots: SnapshotSettings = SnapshotSettings()
    outlets: dict[Name, OutletSettings] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _wired(self) -> Self:
        places: dict[tuple[str, int], str] = {}
        for name, receiver in self.receivers.items():
            if receiver.by_hand:
                continue
            _check_driver(name, receiver)
            if receiver.line not in self.lines:
                known = ", ".join(sorted(self.lines)) or "none"
                raise ValueError(f"receivers.{name}.line: there is no line “{receiver.line}”; lines are: {known}")
            place = (receiver.line, receiver.address)
            if place in places:
                raise ValueError(
                    f"receivers.{name}: address {receiver.address} on line {receiver.line} "
                    f"already belongs to {places[place]}; give each receiver its own"
                )
            places[place] = name
        ports: dict[str, str] = {}
        for name, line in self.lines.items():
            if line.port in ports:
                raise ValueError(f"lines.{name}.port: {line.port} already belongs to line {ports[line.port]}")
            ports[line.port] = name
        check_gates(self.gates, self.receivers)
        check_outlets(self.outlets, self.receivers)
        return self

    @property
    def drift(self) -> dict[str, DriftPolicy]:
        """By receiver, what becomes of what other hands have changed there: its own word, else the site's."""
        site = (self.roster.drift or self.roster.unknown) if self.roster else None
        words = {name: receiver.drift or site or DriftPolicy.REMOVE for name, receiver in self.receivers.items()}
        return {name: DriftPolicy(word) for name, word in words.items()}

    @model_validator(mode="after")
    def _forgotten_before_judged(self) -> Self:
        unused, kept = self.conditions.unused_days, self.gateway.keep_heard_days
        if unused is not None and unused > kept:
            raise ValueError(
                f"conditions.unused_days is {unused}, but presses are kept for {kept} days (gateway.keep_heard_days); "
                "ask for no more days than are kept"
            )
        return self
