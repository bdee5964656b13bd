"""What a receiver still knows without power: revision, slots, settings, password, boot count.

A pure model with no time in it. Every change raises the revision by one per call that changed something, and
remembers for each slot at which revision it last changed. What is durable is the keeper's business;
methods return when it is. Mode selectors are kept here too, for they stay where somebody turned them.
Rules: docs/register-map.md, the sections on revision, slots, block CRCs and factory reset.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence

from gateway.domain.receiver import Limits, OutputMode
from gateway.virtual.keeping import Keeper, Kept, NoKeeper
from gateway.virtual.slot_form import Record, SlotForm

__all__ = ["FACTORY_ON_TIME_S", "Memory"]

FACTORY_ON_TIME_S = 5


class Memory:
    """The memory of one receiver."""

    def __init__(self, form: SlotForm, limits: Limits, keeper: Keeper | None = None) -> None:
        self.form = form
        self.limits = limits
        self._keeper = keeper or NoKeeper()
        self.revision = 1
        self.boot_count = 0
        self.on_times_s = [FACTORY_ON_TIME_S] * limits.outputs
        self.local_programming = True
        self.password = b""
        self.modes = [OutputMode.TIMED] * limits.outputs
        self.slots: dict[int, Record] = {}
        self.changed_at: dict[int, int] = {}
        self.slot_writes = 0
        self.image = bytearray(b"".join(form.empty(number) for number in range(1, limits.slots + 1)))
        self._crcs: dict[int, int] = {}
        self._load(self._keeper.load())

    # --- looking ---

    def find(self, serial: int) -> int | None:
        """The lowest slot that holds a serial."""
        return min((number for number, record in self.slots.items() if record.serial == serial), default=None)

    def lowest_free(self) -> int | None:
        """The lowest free slot; None when the memory is full."""
        return next((number for number in range(1, self.limits.slots + 1) if number not in self.slots), None)

    def crc_of(self, block: int) -> int:
        """CRC-32/ISO-HDLC over the block's records as on the wire, a free slot counted as zeros."""
        if block not in self._crcs:
            zeros = bytes(self.form.size)
            numbers = self.limits.slots_of(block)
            parts = (self.slots[number].raw if number in self.slots else zeros for number in numbers)
            self._crcs[block] = zlib.crc32(b"".join(parts))
        return self._crcs[block]

    # --- changing ---

    def start(self) -> None:
        """The receiver starts: the boot count rises."""
        self.boot_count += 1
        self._keep({"boot_count": self.boot_count})

    def write_slots(self, wanted: Sequence[tuple[int, Record | None]], *, cut_after: int | None = None) -> list[int]:
        """Write slots in order, each whole; the numbers of those that changed.

        `cut_after` plays a power cut: only so many of the wanted ones come to be written.
        """
        revision = self.revision + 1
        changed = [number for number, record in wanted[:cut_after] if self._put(number, record, revision)]
        self._keeper.sync()
        return changed

    def set_settings(self, on_times_s: Sequence[int], local_programming: bool) -> bool:
        """Set on-times and local programming together; whether anything changed."""
        if list(on_times_s) == self.on_times_s and local_programming == self.local_programming:
            return False
        self.on_times_s = list(on_times_s)
        self.local_programming = local_programming
        self._changed(self._settings())
        return True

    def set_password(self, password: bytes) -> bool:
        """Set the link password, empty for none; whether it changed."""
        if password == self.password:
            return False
        self.password = password
        self._changed({"password": password.hex()})
        return True

    def set_mode(self, output: int, mode: OutputMode) -> bool:
        """A selector is turned. It is no part of the configuration, so the revision stays."""
        if self.modes[output - 1] is mode:
            return False
        self.modes[output - 1] = mode
        self._keep({"modes": " ".join(self.modes)})
        return True

    def factory_reset(self) -> None:
        """No slots, no password, on-times and local programming as new; modes and boot count as they are."""
        freed = sorted(self.slots)
        revision = self.revision + 1
        for number in freed:
            self._forget(number, revision)
        self.on_times_s = [FACTORY_ON_TIME_S] * self.limits.outputs
        self.local_programming = True
        self.password = b""
        slots = {f"slot.{number}": f"{revision} " for number in freed}
        self._changed({**slots, **self._settings(), "password": ""})

    def seed(self, records: Mapping[int, Record], on_times_s: Sequence[int], allowed: bool, revision: int) -> None:
        """Begin with these slots and settings at this revision, as if they had stood there for long.

        Only in a memory as from the factory; `is_new` tells whether it is.
        """
        self.revision = max(1, revision)
        for number, record in records.items():
            self._place(number, record, self.revision)
        self.on_times_s = list(on_times_s) or self.on_times_s
        self.local_programming = allowed
        slots = {f"slot.{number}": f"{self.revision} {record.raw.hex()}" for number, record in records.items()}
        self._keep({"revision": self.revision, **slots, **self._settings()})

    @property
    def is_new(self) -> bool:
        """True when nothing was ever changed in it."""
        return self.revision == 1 and not self.slots

    def close(self) -> None:
        """Give the keeper's file back."""
        self._keeper.close()

    # --- inside ---

    def _put(self, number: int, record: Record | None, revision: int) -> bool:
        if self.slots.get(number) == record:
            return False
        if record is None:
            self._forget(number, revision)
        else:
            self._place(number, record, revision)
        self.revision = revision
        self.slot_writes += 1
        text = record.raw.hex() if record else ""
        self._keeper.put({"revision": revision, f"slot.{number}": f"{revision} {text}"})
        return True

    def _place(self, number: int, record: Record, revision: int) -> None:
        self.slots[number] = record
        self._mark(number, revision, record.raw)

    def _forget(self, number: int, revision: int) -> None:
        self.slots.pop(number, None)
        self._mark(number, revision, self.form.empty(number))

    def _mark(self, number: int, revision: int, raw: bytes) -> None:
        size = self.form.size
        self.image[(number - 1) * size : number * size] = raw
        self.changed_at[number] = revision
        self._crcs.pop(self.limits.block_of(number), None)

    def _settings(self) -> dict[str, Kept]:
        on_times = " ".join(map(str, self.on_times_s))
        return {"on_times": on_times, "local_programming": int(self.local_programming)}

    def _changed(self, values: Mapping[str, Kept]) -> None:
        self.revision += 1
        self._keep({"revision": self.revision, **values})

    def _keep(self, values: Mapping[str, Kept]) -> None:
        self._keeper.put(values)
        self._keeper.sync()

    def _load(self, kept: Mapping[str, Kept]) -> None:
        self.revision = int(kept.get("revision", self.revision))
        self.boot_count = int(kept.get("boot_count", 0))
        self.password = bytes.fromhex(str(kept.get("password", "")))
        self.local_programming = bool(kept.get("local_programming", True))
        for place, seconds in enumerate(str(kept.get("on_times", "")).split()[: self.limits.outputs]):
            self.on_times_s[place] = int(seconds)
        for place, mode in enumerate(str(kept.get("modes", "")).split()[: self.limits.outputs]):
            self.modes[place] = OutputMode(mode)
        for key, value in kept.items():
            if key.startswith("slot."):
                self._load_slot(int(key.removeprefix("slot.")), str(value))

    def _load_slot(self, number: int, value: str) -> None:
        revision, _, text = value.partition(" ")
        if number > self.limits.slots:
            return
        record = self.form.read(bytes.fromhex(text)) if text else None
        if record is None:
            self._forget(number, int(revision))
        else:
            self._place(number, record, int(revision))
