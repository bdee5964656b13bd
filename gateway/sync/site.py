"""The site as this room sees it: its name and zone, its receivers and what a roster calls their outputs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from zoneinfo import ZoneInfo

from gateway.domain.receiver import Capability
from gateway.errors import NotFound, Unsupported
from gateway.ports import Receiver, ReceiverFacts

__all__ = ["Site"]


@dataclass(frozen=True, slots=True)
class Site:
    """`receivers` and `facts` are by the receiver's name in the settings and have the same keys.

    `by_hand` are those that no line reaches: a roster is planned for them, and a person carries the plan out.
    """

    name: str
    zone: ZoneInfo
    receivers: Mapping[str, Receiver]
    facts: Mapping[str, ReceiverFacts]
    by_hand: frozenset[str] = frozenset()

    def receiver(self, name: str) -> Receiver:
        """The driver of this receiver. Raises NotFound."""
        if name not in self.receivers:
            known = ", ".join(self.receivers) or "none"
            raise NotFound(f"There is no receiver {name}.", remedy=f"The settings name: {known}.")
        return self.receivers[name]

    def with_slots(self, name: str) -> Receiver:
        """The driver of a receiver that keeps transmitters and has a line. Raises NotFound, Unsupported."""
        receiver = self.planned(name)
        if name in self.by_hand:
            raise Unsupported(
                f"No line reaches {name}, so nothing can be written to it from here.",
                remedy=f"What is to be done there stands on its visit sheet: gatepost visit-sheet show {name}",
            )
        return receiver

    def planned(self, name: str) -> Receiver:
        """What stands for a receiver that a roster is planned for, with or without a line. Raises as `with_slots`."""
        receiver = self.receiver(name)
        if Capability.SLOTS not in receiver.capabilities:
            raise Unsupported(
                f"{name} keeps no transmitters.", remedy="Its map has no slots; a roster can't be brought to it."
            )
        return receiver

    def names_with_slots(self) -> tuple[str, ...]:
        """The receivers that a roster can be brought to over a line, in the order of the settings."""
        return tuple(
            name
            for name, driver in self.receivers.items()
            if Capability.SLOTS in driver.capabilities and name not in self.by_hand
        )

    def names_by_hand(self) -> tuple[str, ...]:
        """The receivers without a line, in the order of the settings."""
        return tuple(name for name in self.receivers if name in self.by_hand)
