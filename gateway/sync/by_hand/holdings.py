"""What a receiver without a line holds before the first visit: typed in, from a snapshot, or in a roster's form.

Pure. Checked as a whole; what doesn't fit is refused with everything that is wrong with it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Protocol
from zoneinfo import ZoneInfo

from gateway.domain.receiver import Identity, Limits, Slot
from gateway.domain.roster import Roster
from gateway.domain.transmitter import MAX_SERIAL, write_serial
from gateway.errors import Refused
from gateway.ports import Holding, ReceiverFacts
from gateway.sync.desired import Moment, Shape, desired_slots

__all__ = ["HandLimits", "holdings_of_roster", "holdings_of_slots", "slots_of_holdings"]

_TOLD = 5


class HandLimits(Protocol):
    """What the settings say of receivers without a line."""

    def limits(self, receiver: str) -> Limits: ...

    def identity(self, receiver: str) -> Identity: ...


@dataclass(frozen=True, slots=True)
class _Fault:
    words: str


def slots_of_holdings(receiver: str, holdings: Sequence[Holding], limits: Limits) -> dict[int, Slot]:
    """Slots from 1 on, in the order given. Raises Refused with `holdings-unfit`."""
    faults = [fault.words for holding in holdings for fault in _faults(holding, limits)]
    twice = [serial for serial, count in Counter(holding.serial for holding in holdings).items() if count > 1]
    faults += [f"transmitter {write_serial(serial)} stands twice" for serial in twice]
    if len(holdings) > limits.slots:
        faults.append(f"{len(holdings)} transmitters are more than its {limits.slots} slots")
    if faults:
        more = f"; and {len(faults) - _TOLD} more" if len(faults) > _TOLD else ""
        raise Refused(
            f"That can't be what {receiver} holds: {'; '.join(faults[:_TOLD])}{more}.",
            remedy="Correct these and send it again; nothing was changed.",
            code="holdings-unfit",
        )
    return {number: _slot(number, holding, limits) for number, holding in enumerate(holdings, 1)}


def holdings_of_slots(slots: Sequence[Slot]) -> list[Holding]:
    """Those of a snapshot; of a transmitter that stands twice everything that it works is one."""
    found: dict[int, Holding] = {}
    for slot in slots:
        outputs = {place: set(group) for place, group in enumerate(slot.outputs, 1) if group}
        known = found.get(slot.serial)
        if known is not None:
            for place, group in known.outputs.items():
                outputs.setdefault(place, set()).update(group)
        found[slot.serial] = Holding(slot.serial, outputs, slot.name or (known.name if known else ""))
    return list(found.values())


def holdings_of_roster(roster: Roster, facts: ReceiverFacts, limits: Limits, site: str) -> list[Holding]:
    """What a list in a roster's form says of this receiver, whatever its dates."""
    undated = replace(roster, entries=tuple(replace(e, valid_from=None, valid_until=None) for e in roster.entries))
    shape = Shape(limits, lambda kind: 0, lambda limits, name: name)
    moment = Moment(now=datetime.now(UTC), zone=ZoneInfo("UTC"), trusted=True)
    wanted = desired_slots(undated, facts, shape, moment, site=site, revoked=()).wanted
    return [
        Holding(each.serial, {n: group for n, group in enumerate(each.outputs, 1) if group}, each.holder)
        for each in wanted.values()
    ]


def _faults(holding: Holding, limits: Limits) -> list[_Fault]:
    name = f"transmitter {write_serial(max(holding.serial, 0))}"
    found = []
    if not 0 < holding.serial <= MAX_SERIAL:
        found.append(_Fault(f"{holding.serial} is not a serial"))
    if not any(holding.outputs.values()):
        found.append(_Fault(f"{name} works nothing"))
    if wrong := [place for place in holding.outputs if not 1 <= place <= limits.positions]:
        found.append(_Fault(f"{name} has a position {wrong[0]}, and there are {limits.positions}"))
    outputs = {output for group in holding.outputs.values() for output in group}
    if wrong := sorted(output for output in outputs if not 1 <= output <= limits.outputs):
        found.append(_Fault(f"{name} works an output {wrong[0]}, and there are {limits.outputs}"))
    return found


def _slot(number: int, holding: Holding, limits: Limits) -> Slot:
    groups = tuple(frozenset(holding.outputs.get(place, ())) for place in range(1, limits.positions + 1))
    return Slot(number, holding.serial, 0, groups, holding.name)
