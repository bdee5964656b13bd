"""`ports.DriftDesk` and `ports.DateChanges` with what the test puts into them."""

from __future__ import annotations

from gateway.domain.date_changes import DateChange
from gateway.domain.drift import Decision, DriftItem, DriftKind, DriftState
from gateway.domain.receiver import Origin
from gateway.domain.transmitter import write_serial
from gateway.errors import NotFound, Refused
from gateway.ports import Decided

__all__ = ["FakeDates", "FakeDrift", "some_drift"]


def some_drift(receiver: str = "slip-gate", serial: int = 77, *, holder: str = "Barge crew") -> DriftItem:
    return DriftItem(
        receiver=receiver,
        serial=serial,
        holder=holder,
        kind=DriftKind.EXTRA,
        state=DriftState.OPEN,
        origin=Origin.BOARD,
        since=None,
        words=f"{holder}, transmitter {write_serial(serial)}, was added at the board.",
        next_step="It stays as it is.",
        gained=("gate on position 1",),
        lost=(),
        todo="Decide what becomes of it.",
        rights=f"1:{receiver}/gate",
        decisions=(Decision.ADOPT, Decision.REMOVE, Decision.REVOKE),
    )


class FakeDates:
    """`change` is the next one."""

    def __init__(self) -> None:
        self.change: DateChange | None = None

    def next_change(self) -> DateChange | None:
        return self.change


class FakeDrift:
    """`items` are open; `asked` has every decision that was taken."""

    def __init__(self, *items: DriftItem) -> None:
        self.items = list(items)
        self.asked: list[tuple[str, int, Decision, str]] = []

    def open(self, receiver: str | None = None) -> tuple[DriftItem, ...]:
        return tuple(item for item in self.items if receiver in (None, item.receiver))

    async def decide(self, receiver: str, serial: int, decision: Decision, *, asked_by: str) -> Decided:
        item = next((each for each in self.items if (each.receiver, each.serial) == (receiver, serial)), None)
        if item is None:
            raise NotFound("Nothing is open about it.", remedy="List what is open.")
        if decision not in item.decisions:
            raise Refused("That makes no sense here.", remedy="Use another.", code="decision-impossible")
        self.asked.append((receiver, serial, decision, asked_by))
        self.items.remove(item)
        return Decided(None, "p-held" if decision is Decision.REMOVE else "", "It is so.")
