"""The register-map driver: any receiver or board that speaks Modbus RTU and has a map.

It knows roles and fields, never an address: those are the map's. A plain relay and input board needs nothing
of its own here, since what a map lacks is `Unsupported`. What each role means: docs/register-map.md.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from typing import TypeVar

from gateway.clock import Clock
from gateway.domain.receiver import (
    Battery,
    Capability,
    Identity,
    Limits,
    ReceiverSettings,
    RingPlace,
    RingRead,
    Slot,
    Status,
)
from gateway.domain.transmitter import Kind
from gateway.domain.urgency import Urgency
from gateway.errors import NotProven, ReceiverException, ReceiverRefused, Refused, Unsupported, WrongReceiver
from gateway.line import Timing
from gateway.maps import ReceiverMap, Role, Value
from gateway.modbus import IdentificationAnswer, ReadDeviceIdentification
from gateway.ports import BlockCrcs
from gateway.receivers.asking import Asking
from gateway.receivers.batteries import Batteries
from gateway.receivers.blocks import decode_block, read_request, write_request
from gateway.receivers.configuring import Configuration
from gateway.receivers.identity import check_map_version, identity_from, limits_from
from gateway.receivers.pace import Pace
from gateway.receivers.password import Keyring
from gateway.receivers.probes import choose_probes
from gateway.receivers.refusals import refusal
from gateway.receivers.ring import RingReader
from gateway.receivers.session import Session
from gateway.receivers.slotcodec import fit_text
from gateway.receivers.slots import SlotMemory
from gateway.receivers.status import decode_status
from gateway.receivers.unlocking import Unlocking
from gateway.receivers.values import flag_of, number_of
from gateway.receivers.wire import HeldWire, Wire

__all__ = ["RegisterMapReceiver"]

T = TypeVar("T")
_MOST_IDENTIFICATION_FRAMES = 8
_WRONG_MAP = (1, 2)  # illegal function, illegal data address


class RegisterMapReceiver:
    """`ports.Receiver` on a line. Building it sends nothing.

    A slot whose bytes are no valid text keeps them as long as it is not written; `Slot.name` then shows U+FFFD.
    """

    def __init__(
        self,
        name: str,
        receiver_map: ReceiverMap,
        wire: Wire,
        address: int,
        *,
        keyring: Keyring,
        clock: Clock,
        timing: Timing,
    ) -> None:
        self._name = name
        self._map = receiver_map
        self._asking = Asking(name, receiver_map, wire, address, clock)
        self._keyring = keyring
        self._unlocking = Unlocking(self._asking, keyring)
        self._session = Session(self._asking, self._unlocking)
        self._limits: Limits | None = None
        self._capabilities = receiver_map.capabilities
        self._build_parts(timing)
        probes = choose_probes(receiver_map)
        if probes is not None:
            wire.set_probe(address, probes, max(block.answer_s for block in receiver_map.status_blocks))

    def _build_parts(self, timing: Timing) -> None:
        has, block, session = self._map.has, self._map.block, self._session
        largest_s = block(Role.SLOT_WRITE).answer_s if has(Role.SLOT_WRITE) else 0.0
        self._pace = Pace(timing, largest_s)
        slots = Capability.SLOTS in self._capabilities
        self._slots = SlotMemory(self._map, session, timing, self._pace) if slots else None
        self._ring = RingReader(block(Role.RING), session) if Capability.EVENTS in self._capabilities else None
        volatile = Capability.BATTERY in self._capabilities
        self._batteries = Batteries(block(Role.SLOT_VOLATILE), session) if volatile else None
        settings = Capability.SETTINGS in self._capabilities
        self._configuration = Configuration(block(Role.SETTINGS), session) if settings else None

    @property
    def name(self) -> str:
        """The settings' name of this receiver."""
        return self._name

    @property
    def capabilities(self) -> frozenset[Capability]:
        """What the map makes possible."""
        return self._capabilities

    @property
    def password_in_doubt(self) -> bool:
        """True when a change of the link password was cut: the new or the old one may be in force."""
        return self._keyring.in_doubt

    # --- who it is and how it stands ---

    async def identify(self, *, urgency: Urgency = Urgency.CONTROL) -> tuple[Identity, Limits]:
        """Read status and identity. Raises WrongReceiver when its map isn't the one that it was given."""
        try:
            status = await self._asking.read_status(urgency)
            check_map_version(self._name, self._map, number_of(status, "map_version"))
            values: Mapping[str, Value] = {}
            if self._map.has(Role.IDENTITY):
                values = await self._session.read(self._map.block(Role.IDENTITY), urgency)
        except ReceiverException as fault:
            if fault.exception not in _WRONG_MAP:
                raise
            raise WrongReceiver(
                f"{self._name} does not have the registers of map “{self._map.name}”.",
                remedy="Check its line, address and map in the settings: another device may answer there.",
            ) from fault
        complete = all(values.get(word) for word in ("maker", "product", "version"))
        objects = {} if complete or not self._map.device_identification else await self._read_objects(urgency)
        self._limits = limits_from(self._map, values)
        return identity_from(self._map, values, objects), self._limits

    async def read_status(self, *, urgency: Urgency = Urgency.POLL) -> Status:
        """One poll. The first one asks who answers too, so that outputs and inputs are counted right."""
        limits = await self._known_limits(urgency)
        values = await self._asking.read_status(urgency)
        return decode_status(values, outputs=limits.outputs, inputs=limits.inputs)

    async def read_ring(self, after: RingPlace, status: Status, *, urgency: Urgency = Urgency.POLL) -> RingRead:
        """The events after a place, up to the newest that `status` tells of."""
        ring = self._need(self._ring, Capability.EVENTS)
        limits = await self._known_limits(urgency)
        return await ring.read(after, status, limits.ring, urgency)

    async def read_batteries(self, slots: Collection[int], *, urgency: Urgency = Urgency.POLL) -> Mapping[int, Battery]:
        """What the transmitters of these slots said of their batteries."""
        batteries = self._need(self._batteries, Capability.BATTERY)
        return await batteries.read(slots, await self._known_limits(urgency), urgency)

    # --- settings ---

    async def read_settings(self, *, urgency: Urgency = Urgency.CONTROL) -> ReceiverSettings:
        """The settings block, and whether there is a link password."""
        configuration = self._need(self._configuration, Capability.SETTINGS)
        return await configuration.read(await self._known_limits(urgency), urgency)

    async def write_on_time(self, output: int, seconds: int) -> None:
        """Set one on-time and read it back."""
        configuration = self._need(self._configuration, Capability.SETTINGS)
        await configuration.write_on_time(output, seconds, await self._known_limits(Urgency.CONTROL))

    async def write_local_programming(self, allowed: bool) -> None:
        """Set the lock of the board's own buttons and read it back."""
        await self._need(self._configuration, Capability.SETTINGS).write_local_programming(allowed)

    async def write_password(self, new: str) -> None:
        """Change the link password, proven by locking and unlocking.

        After a LineError the change is in doubt (`password_in_doubt`): asking for the same change again is safe.
        """
        self._need_capability(Capability.PASSWORD)
        await self._unlocking.change(new)

    # --- slots ---

    async def read_block_crcs(self, *, urgency: Urgency = Urgency.CONTROL) -> BlockCrcs:
        """All block CRCs at one revision."""
        slots = self._need(self._slots, Capability.SLOTS)
        return await slots.read_crcs(await self._known_limits(urgency), urgency)

    async def read_slots(self, numbers: Collection[int], *, urgency: Urgency = Urgency.BULK) -> dict[int, Slot]:
        """The slots of these numbers that exist."""
        slots = self._need(self._slots, Capability.SLOTS)
        return await slots.read(numbers, await self._known_limits(urgency), urgency)

    async def write_slots(
        self, slots: Sequence[Slot], freed: Collection[int], seen: int, *, urgency: Urgency = Urgency.BULK
    ) -> None:
        """Write and free slots in one frame, sent at most once."""
        memory = self._need(self._slots, Capability.SLOTS)
        await memory.write(slots, freed, seen, await self._known_limits(urgency), urgency)

    @property
    def slots_per_write(self) -> int:
        """How many slots go into one write frame just now."""
        return self._need(self._slots, Capability.SLOTS).slots_per_write

    def block_crc(self, limits: Limits, block: int, slots: Mapping[int, Slot]) -> int:
        """What the receiver must state for this block if it holds exactly these slots."""
        return self._need(self._slots, Capability.SLOTS).codec.block_crc(limits, block, slots)

    def kind_code(self, kind: Kind) -> int:
        """The memory's code for a kind; 0 for one of unstated kind or that the map does not know."""
        if kind.name == "any":
            return 0
        return next((code for code, known in self._map.kinds.items() if known.positions == kind.positions), 0)

    def fit_name(self, limits: Limits, name: str) -> str:
        """The name as the memory would keep it."""
        room = self._slots.codec.name_bytes if self._slots is not None else 0
        return fit_text(name, min(limits.name_bytes, room))

    def wire_seconds(self, *, slots_written: int, blocks_checked: int) -> float:
        """Estimate: writing the slots, reading them back, and one reading of the CRCs for each block."""
        slots = self._need(self._slots, Capability.SLOTS)
        crc_bytes = self._map.block(Role.BLOCK_CRCS).record_bytes
        written_s = self._pace.plan_s(
            slots_written,
            record_bytes=self._map.block(Role.SLOTS).record_bytes,
            head_bytes=4,
            per_write=slots.slots_per_write,
            per_read=slots.slots_per_write,
        )
        return written_s + self._pace.read_s(blocks_checked, blocks_checked * crc_bytes)

    # --- the rest ---

    async def operate(
        self, output: int, duration_ds: int, nonce: int, check: Callable[[Status, Identity | None], None]
    ) -> None:
        """One closure that the receiver itself ends, in one hold of the line: status, identity, `check`, the request.

        `duration_ds` in tenths of a second, 0 for a timed output's own on-time. `check` raises to refuse; the identity
        is None where the map has no block for it. A locked receiver is unlocked first, and all of it read again.
        Once `check` has returned the request is sent at most once, also when the receiver refuses it; after a
        LineError whose `sent` is true nobody knows whether it moved.
        """
        self._need_capability(Capability.OPERATE)
        limits = await self._known_limits(Urgency.CONTROL)
        block = self._map.block(Role.OPERATE)
        data = block.encode({"output": output, "duration": duration_ds, "nonce": nonce})

        async def send() -> ReceiverRefused | None:
            async with self._asking.hold(Urgency.CONTROL) as held:
                values = await self._asking.read_status(Urgency.CONTROL, held)
                if flag_of(values, "password_set") and number_of(values, "unlocked_s") == 0 and not block.open:
                    raise refusal(self._name, "locked")
                identity = await self._identity_held(held)
                check(decode_status(values, outputs=limits.outputs, inputs=limits.inputs), identity)
                try:
                    await self._asking.ask_held(held, write_request(block, data), block)
                except ReceiverRefused as fault:
                    return fault  # given back, not raised: nothing may send it again
            return None

        refused = await self._session.guarded(block, Urgency.CONTROL, send)
        if refused is not None:
            raise refused

    async def _identity_held(self, held: HeldWire) -> Identity | None:
        """Who answers in this hold, as far as its identity block says it."""
        if not self._map.has(Role.IDENTITY):
            return None
        block = self._map.block(Role.IDENTITY)
        answer = await self._asking.ask_held(held, read_request(block), block, repeat_safe=True)
        return identity_from(self._map, decode_block(block, answer), {})

    async def listen(self, seconds: int) -> None:
        """Start enrolment listening (0 ends it). How long the receiver listens at most is its own to say."""
        self._need_capability(Capability.ENROLMENT)
        if not 0 <= seconds <= 0xFFFF:
            raise Refused(f"Listening for {seconds} s is not possible.", remedy="Ask for 1 to 60 s, or 0 to end.")
        block = self._map.block(Role.LISTEN)
        await self._session.write(block, block.encode({"seconds": seconds}), Urgency.CONTROL)

    async def factory_reset(self) -> None:
        """Clear the memory, sent at most once; proven by the link password and every slot being gone."""
        self._need_capability(Capability.RESET)
        block = self._map.block(Role.RESET)
        await self._session.write(block, block.encode(block.constants), Urgency.CONTROL, repeat_safe=False)
        status = await self._asking.read_status(Urgency.CONTROL)
        if flag_of(status, "password_set") or not await self._is_empty():
            raise NotProven(
                f"{self._name} acknowledged the reset, and something of its memory is still there.",
                remedy="Try again; if this repeats, reset it at the board.",
            )

    async def _is_empty(self) -> bool:
        if self._slots is None:
            return True
        limits = await self._known_limits(Urgency.CONTROL)
        stated = await self.read_block_crcs()
        self._slots.codec.forget()
        empty = tuple(self.block_crc(limits, block, {}) for block in range(limits.blocks))
        return stated.crcs == empty

    async def _known_limits(self, urgency: Urgency) -> Limits:
        if self._limits is not None:
            return self._limits
        return (await self.identify(urgency=urgency))[1]

    async def _read_objects(self, urgency: Urgency) -> dict[int, bytes]:
        """The basic objects of Read Device Identification; empty when the receiver doesn't serve it after all."""
        objects: dict[int, bytes] = {}
        place = 0
        for _ in range(_MOST_IDENTIFICATION_FRAMES):
            try:
                request = ReadDeviceIdentification(1, place)
                answer = await self._asking.ask(request, self._map.status_blocks[0], urgency)
            except ReceiverException:
                return objects
            if not isinstance(answer, IdentificationAnswer):
                return objects
            objects |= dict(answer.objects)
            if not answer.more_follows or answer.next_object <= place:
                break
            place = answer.next_object
        return objects

    def _need(self, part: T | None, capability: Capability) -> T:
        if part is None:
            raise self._unsupported(capability)
        return part

    def _need_capability(self, capability: Capability) -> None:
        if capability not in self._capabilities:
            raise self._unsupported(capability)

    def _unsupported(self, capability: Capability) -> Unsupported:
        return Unsupported(
            f"{self._name} can't do that over the line: its map “{self._map.name}” has no {capability.value}.",
            remedy="Do it at the board, or give the receiver a map that has it, if it can.",
        )
