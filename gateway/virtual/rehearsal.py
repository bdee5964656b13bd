"""A virtual receiver that stands in for a real one: its slots, settings and selectors from a snapshot.

So a plan can be rehearsed before it goes to the gate. The link password is in no snapshot, so the stand-in has none.
"""

from __future__ import annotations

from gateway.domain.receiver import Slot
from gateway.domain.snapshot import Snapshot
from gateway.errors import SettingsFault
from gateway.maps import Block, Role, Value
from gateway.virtual.receiver import VirtualReceiver

__all__ = ["start_from"]


def start_from(receiver: VirtualReceiver, snapshot: Snapshot) -> None:
    """Fill a memory that is as from the factory.

    Raises SettingsFault when it isn't, or when the snapshot is of another map.
    """
    if snapshot.identity.map_name != receiver.map.name:
        raise SettingsFault(
            f"The snapshot is of the map {snapshot.identity.map_name}, not of {receiver.map.name}.",
            remedy=f"Add --map {snapshot.identity.map_name}.",
        )
    if not receiver.memory.is_new:
        raise SettingsFault(
            "The memory's file holds something already; a snapshot would overwrite it.",
            remedy="Leave --from-snapshot out to go on with it, or name a new file.",
        )
    block, form = receiver.map.block(Role.SLOTS), receiver.memory.form
    read = {slot.number: form.read(_raw(slot, block)) for slot in snapshot.slots}
    records = {number: record for number, record in read.items() if record is not None}
    settings = snapshot.settings
    receiver.memory.seed(
        records,
        settings.on_times_s if settings is not None else (),
        settings.local_programming if settings is not None else True,
        snapshot.revision,
    )
    for output, mode in enumerate((snapshot.output_modes or ())[: receiver.limits.outputs], 1):
        receiver.memory.set_mode(output, mode)


def _raw(slot: Slot, block: Block) -> bytes:
    values: dict[str, Value] = {
        "number": slot.number,
        "serial": slot.serial,
        "kind": slot.kind,
        "outputs": slot.outputs,
        "name": slot.name,
        "flags": slot.flags,
        "opaque": slot.opaque,
    }
    try:
        return block.encode({name: value for name, value in values.items() if name in block.fields})
    except ValueError as fault:
        raise SettingsFault(
            f"Slot {slot.number} of the snapshot does not fit the map ({fault}).",
            remedy="Use the map that the snapshot was taken with.",
        ) from fault
