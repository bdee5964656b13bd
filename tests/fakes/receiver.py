"""`gateway.ports.Receiver` in memory, with a board to act on, faults to order and counts to look at.

Every frame that a real driver would send is one step here: it takes `frame_s` of the clock, can be made to fail
before or after it took effect (`fail`), and is counted (`frames`, `frames_of`). A multi-frame read sees the board
as it stands at each of its frames. `link_error` makes every frame fail until it is cleared again.
The encoding behind the CRC-32 is the fake's own; only that equal slots give equal sums matters.
"""

from __future__ import annotations

import asyncio
import struct
import zlib
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from gateway.clock import Clock
from gateway.domain.receiver import (
    Battery,
    Capability,
    Identity,
    Limits,
    Origin,
    ReceiverSettings,
    RingPlace,
    RingRead,
    Slot,
    Status,
)
from gateway.domain.transmitter import Kind
from gateway.domain.urgency import Urgency
from gateway.errors import GatepostError, NoAnswer, ReceiverRefused, Unsupported
from gateway.ports import BlockCrcs
from tests.fakes.board import FakeBoard

__all__ = ["EVERYTHING", "FakeReceiver", "some_identity", "some_limits", "some_slot"]

T = TypeVar("T")
#: Batteries apart: reading one is a frame more at each press.
EVERYTHING = frozenset(Capability) - {Capability.BATTERY}


def some_identity(serial: str = "FQ-0001") -> Identity:
    return Identity("Fennel Instruments", "Quay receiver", "1.0", serial, "reference", 1)


def some_limits(
    *, slots: int = 128, outputs: int = 2, inputs: int = 2, ring: int = 64, block_slots: int = 32
) -> Limits:
    return Limits(
        outputs=outputs,
        inputs=inputs,
        slots=slots,
        positions=8,
        on_time_min_s=1,
        on_time_max_s=3600,
        name_bytes=16,
        block_slots=block_slots,
        ring=ring,
    )


def some_slot(number: int, serial: int, pairs: Collection[tuple[int, int]] = ((1, 1),), name: str = "") -> Slot:
    """A slot of 8 positions with these pairs of position and output."""
    groups = tuple(frozenset(o for p, o in pairs if p == position) for position in range(1, 9))
    return Slot(number, serial, 4, groups, name)


@dataclass(slots=True)
class _Fault:
    error: GatepostError
    skip: int
    method: str | None
    after: bool
    slots_done: int | None
    times: int


class FakeReceiver:
    """A driver and the board behind it. `known_password` is what the driver unlocks with."""

    slots_per_read = 8
    entries_per_read = 8

    def __init__(
        self,
        name: str = "slip-gate",
        *,
        clock: Clock | None = None,
        identity: Identity | None = None,
        limits: Limits | None = None,
        capabilities: frozenset[Capability] = EVERYTHING,
        frame_s: float = 0.0,
        slots_per_write: int = 8,
    ) -> None:
        self._name = name
        self._clock = clock
        self._capabilities = capabilities
        self._slots_per_write = slots_per_write
        self.frame_s = frame_s
        self.board = FakeBoard(identity or some_identity(), limits or some_limits(), clock)
        self.known_password = ""
        self.link_error: GatepostError | None = None
        self.frames_of: Counter[str] = Counter()
        self.urgencies: list[Urgency] = []
        self.slot_writes = 0
        self.write_frames = 0
        self.batteries: dict[int, Battery] = {}
        self._faults: list[_Fault] = []

    # --- orders of the test ---

    @property
    def frames(self) -> int:
        """All frames so far."""
        return self.frames_of.total()

    def fail(
        self,
        error: GatepostError | None = None,
        *,
        skip: int = 0,
        method: str | None = None,
        after: bool = False,
        slots_done: int | None = None,
        times: int = 1,
    ) -> None:
        """Let a frame to come fail: the one after `skip` others (of `method`, or of any), `times` in a row.

        `after` lets it take effect first. `slots_done` lets a write frame do just its first slots and then fail.
        """
        silence = NoAnswer("The receiver did not answer.", remedy="Check its power and the wiring.")
        self._faults.append(_Fault(error or silence, skip, method, after, slots_done, times))

    def no_faults(self) -> None:
        """Forget the faults that were ordered and did not come."""
        self._faults.clear()
        self.link_error = None

    # --- ports.Receiver ---

    @property
    def name(self) -> str:
        return self._name

    @property
    def capabilities(self) -> frozenset[Capability]:
        return self._capabilities

    async def identify(self, *, urgency: Urgency = Urgency.CONTROL) -> tuple[Identity, Limits]:
        fault = await self._frame("identify", urgency)
        return self._answer(fault, (self.board.identity, self.board.limits))

    async def read_status(self, *, urgency: Urgency = Urgency.POLL) -> Status:
        fault = await self._frame("read_status", urgency)
        status = self.board.status()
        if not self._capabilities:
            status = Status(status.input_violated, status.output_closed)
        return self._answer(fault, status)

    async def read_batteries(self, slots: Collection[int], *, urgency: Urgency = Urgency.POLL) -> Mapping[int, Battery]:
        fault = await self._frame("read_batteries", urgency)
        return self._answer(fault, {slot: self.batteries.get(slot, Battery.UNKNOWN) for slot in slots})

    async def read_ring(self, after: RingPlace, status: Status, *, urgency: Urgency = Urgency.POLL) -> RingRead:
        self._need(Capability.EVENTS)
        assert status.boot_count is not None
        assert status.newest_event is not None
        restarted = after.boot_count != status.boot_count
        number = 0 if restarted else after.number
        wanted = status.newest_event - number
        entries = []
        for start in range(0, max(wanted, 1), self.entries_per_read):
            fault = await self._frame("read_ring", urgency)
            if self.board.boot_count == status.boot_count:
                first, last = number + 1 + start, min(number + start + self.entries_per_read, status.newest_event)
                entries += [e for e in self.board.ring if first <= e.place.number <= last]
            self._answer(fault, None)
        lost = 0
        if self.board.boot_count == status.boot_count:
            lost = wanted - len(entries)
            tail = [i for i, e in enumerate(entries) if i and e.place.number != entries[i - 1].place.number + 1]
            entries = entries[tail[-1] :] if tail else entries
            lost = wanted - len(entries)
        return RingRead(tuple(entries), lost, restarted)

    async def read_settings(self, *, urgency: Urgency = Urgency.CONTROL) -> ReceiverSettings:
        self._need(Capability.SETTINGS)
        fault = await self._frame("read_settings", urgency)
        self._unlock()
        board = self.board
        return self._answer(
            fault, ReceiverSettings(tuple(board.on_times_s), board.local_programming, bool(board.password))
        )

    async def write_on_time(self, output: int, seconds: int) -> None:
        self._need(Capability.SETTINGS)
        fault = await self._frame("write_on_time", Urgency.CONTROL)
        self._unlock()
        if not self.board.limits.on_time_min_s <= seconds <= self.board.limits.on_time_max_s:
            raise ReceiverRefused(f"The receiver refused an on-time of {seconds} s.", code="out-of-range")
        self.board.change_on_time(output, seconds, Origin.LINE)
        self.write_frames += 1
        self._answer(fault, None)

    async def write_local_programming(self, allowed: bool) -> None:
        self._need(Capability.SETTINGS)
        fault = await self._frame("write_local_programming", Urgency.CONTROL)
        self._unlock()
        self.board.allow_local_programming(allowed)
        self.write_frames += 1
        self._answer(fault, None)

    async def write_password(self, new: str) -> None:
        self._need(Capability.PASSWORD)
        fault = await self._frame("write_password", Urgency.CONTROL)
        self._unlock()
        self.board.set_password(new)
        self.known_password = new
        self.write_frames += 1
        self._answer(fault, None)

    async def read_block_crcs(self, *, urgency: Urgency = Urgency.CONTROL) -> BlockCrcs:
        self._need(Capability.SLOTS)
        fault = await self._frame("read_block_crcs", urgency)
        self._unlock()
        limits, slots = self.board.limits, self.board.slots
        crcs = tuple(self.block_crc(limits, block, slots) for block in range(limits.blocks))
        return self._answer(fault, BlockCrcs(self.board.revision, crcs))

    async def read_slots(self, numbers: Collection[int], *, urgency: Urgency = Urgency.BULK) -> dict[int, Slot]:
        self._need(Capability.SLOTS)
        wanted = sorted(numbers)
        found: dict[int, Slot] = {}
        for start in range(0, len(wanted), self.slots_per_read):
            fault = await self._frame("read_slots", urgency)
            self._unlock()
            part = wanted[start : start + self.slots_per_read]
            found |= {n: self.board.slots[n] for n in part if n in self.board.slots}
            self._answer(fault, None)
        return found

    async def write_slots(
        self, slots: Sequence[Slot], freed: Collection[int], seen: int, *, urgency: Urgency = Urgency.BULK
    ) -> None:
        self._need(Capability.SLOTS)
        target: dict[int, Slot | None] = {slot.number: slot for slot in slots} | dict.fromkeys(freed)
        assert 0 < len(target) == len(slots) + len(freed), "a slot stands twice in one write, or there is none"
        assert len(target) <= self._slots_per_write, "more slots than one frame holds"
        assert all(slot.pairs for slot in slots), "a slot without any pair does not exist: free it"
        assert all(1 <= number <= self.board.limits.slots for number in target)
        assert all(len(s.name.encode()) <= self.board.limits.name_bytes for s in slots), "the name is too long"
        fault = await self._frame("write_slots", urgency)
        self._unlock()
        self.write_frames += 1
        if any(self.board.changed_at.get(number, 0) > seen for number in target):
            raise ReceiverRefused("A slot has changed since it was read.", code="slot-changed")
        done = sorted(target)[: fault.slots_done if fault else None]
        self.slot_writes += len(done)
        self.board.put_all({number: target[number] for number in done}, Origin.LINE)
        self._answer(fault, None)

    @property
    def slots_per_write(self) -> int:
        return self._slots_per_write

    def block_crc(self, limits: Limits, block: int, slots: Mapping[int, Slot]) -> int:
        parts = (_encode(slots[number]) if number in slots else bytes(32) for number in limits.slots_of(block))
        return zlib.crc32(b"".join(parts))

    def kind_code(self, kind: Kind) -> int:
        return 0 if kind.name == "any" or any("+" in label for label in kind.positions) else len(kind.positions)

    def fit_name(self, limits: Limits, name: str) -> str:
        return name.encode()[: limits.name_bytes].decode(errors="ignore")

    def wire_seconds(self, *, slots_written: int, blocks_checked: int) -> float:
        return 0.05 * slots_written + 0.02 * blocks_checked

    async def listen(self, seconds: int) -> None:
        self._need(Capability.ENROLMENT)
        fault = await self._frame("listen", Urgency.CONTROL)
        self._unlock()
        self.board.listen(seconds)
        self._answer(fault, None)

    async def factory_reset(self) -> None:
        self._need(Capability.RESET)
        fault = await self._frame("factory_reset", Urgency.CONTROL)
        self._unlock()
        self.board.reset(Origin.LINE)
        self.write_frames += 1
        self._answer(fault, None)

    # --- frames and faults ---

    async def _frame(self, method: str, urgency: Urgency) -> _Fault | None:
        """One frame: takes its time, is counted, and fails here when its fault comes before the effect."""
        self.frames_of[method] += 1
        self.urgencies.append(urgency)
        if self._clock is not None and self.frame_s:
            await self._clock.sleep(self.frame_s)
        else:
            await asyncio.sleep(0)
        self.board.tick()
        if self.link_error is not None:
            raise self.link_error.with_traceback(None)
        fault = self._due(method)
        if fault is not None and not fault.after and fault.slots_done is None:
            raise fault.error.with_traceback(None)
        return fault

    def _due(self, method: str) -> _Fault | None:
        for fault in self._faults:
            if fault.method not in (None, method):
                continue
            if fault.skip:
                fault.skip -= 1
                continue
            fault.times -= 1
            if not fault.times:
                self._faults.remove(fault)
            return fault
        return None

    @staticmethod
    def _answer(fault: _Fault | None, value: T) -> T:
        if fault is not None:
            raise fault.error.with_traceback(None)
        return value

    def _unlock(self) -> None:
        if self.board.password and self.board.password != self.known_password:
            raise ReceiverRefused("The receiver refused the link password.", code="password-refused")

    def _need(self, capability: Capability) -> None:
        if capability not in self._capabilities:
            raise Unsupported(f"{self._name} can't do that.", remedy=f"Its map has no `{capability}`.")


def _encode(slot: Slot) -> bytes:
    masks = bytes(sum(1 << (output - 1) for output in group) & 0xFF for group in slot.outputs)
    head = struct.pack(">HIHH", slot.number, slot.serial, slot.kind, slot.flags)
    return head + masks + slot.name.encode() + b"\0" + slot.opaque
