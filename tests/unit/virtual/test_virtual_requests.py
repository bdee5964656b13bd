"""Reading and writing the receiver, request by request, with the literals of docs/register-map.md."""

from __future__ import annotations

import struct
import zlib

import pytest

from gateway.domain.receiver import OutputMode
from tests.unit.virtual.asking import Desk, record, window

LOCKED, WRONG, WAIT, CHANGED, RANGE, BUSY, FORBIDS, KEY = 1, 2, 3, 4, 5, 8, 10, 11


def test_factory_state() -> None:
    """A new receiver has revision 1, one start, one event, all modes timed, local programming allowed, 5 s on-times."""
    desk = Desk()
    status = desk.read(4, 0x0000, 20)
    assert struct.unpack(">H5I8H", status[:38]) == (1, 1, 0, 1, 1, 1, 0, 0, 0b01010101, 0b010, 0, 0, 0, 0)
    assert struct.unpack(">9H", desk.read(3, 0x0000, 9)) == (5, 5, 5, 5, 0, 0, 0, 0, 1)
    assert desk.events() == [(1, 0, 0, 0, 0, 0, 0, 0)]


def test_identity_block_and_device_identification_agree() -> None:
    """Maker, product, version and serial are the same both ways; limits are the receiver's own."""
    desk = Desk(slots=64)
    identity = desk.read(4, 0x0040, 44)
    assert identity[:16].rstrip(b"\0") == b"FQ-0001"
    assert identity[16:40].rstrip(b"\0") == b"Fennel Electrics"
    assert identity[40:56].rstrip(b"\0") == b"VR-8"
    assert struct.unpack(">9H", identity[64:82]) == (4, 4, 64, 8, 1, 3600, 16, 32, 512)
    stream = desk.ask(bytes.fromhex("2b0e0300"))
    texts = b"\x00\x10Fennel Electrics\x01\x04VR-8\x02\x031.0\x80\x07FQ-0001"
    assert stream == bytes.fromhex("2b0e03830000") + b"\4" + texts
    assert desk.ask(bytes.fromhex("2b0e0480")) == bytes.fromhex("2b0e0483000001") + b"\x80\x07FQ-0001"


def test_identification_follows_the_standard_for_unknown_objects() -> None:
    """Stream access restarts at object 0, individual access is exception 02 (V1.1b3, section 6.21)."""
    desk = Desk()
    assert desk.ask(bytes.fromhex("2b0e0105"))[6:9] == b"\3\x00\x10"
    assert desk.ask(bytes.fromhex("2b0e0405")) == b"\xab\x02"


@pytest.mark.parametrize(
    ("function", "address", "count"),
    [
        (4, 0x0014, 1),  # behind the status
        (4, 0x0010, 8),  # across its end
        (4, 0x4000 + 20 * 64, 1),  # behind the last of 64 slots
        (4, 0x4000 + 20 * 63, 21),  # across it
        (4, 0xA000 + 3 * 64, 1),
        (3, 0x0020, 4),  # the unlock block can't be read
        (3, 0x0100, 2),  # nor the slot window
        (3, 0x4000, 20),  # slots are input registers
    ],
)
def test_reads_outside_readable_blocks_are_exception_02(function: int, address: int, count: int) -> None:
    """A read that touches anything but readable registers of one block is refused."""
    assert Desk().refused(function, address, count) == 2


@pytest.mark.parametrize("pdu", ["0100000001", "0200000001", "050000ff00", "0f0000000801ff", "07", "1700000001"])
def test_functions_not_served_are_exception_01(pdu: str) -> None:
    """Coils, discrete inputs and the rest of the standard's functions don't exist here."""
    answer = Desk().ask(bytes.fromhex(pdu))
    assert answer == bytes((int(pdu[:2], 16) | 0x80, 1))


def test_unaligned_reads_of_records_are_plain_registers() -> None:
    """A read may begin in the middle of one slot and end in the middle of another."""
    desk = Desk()
    assert desk.write(0x0100, window(1, record(1, 11, name=b"Berth 1"), record(2, 22))) == 0
    whole = desk.read(4, 0x4000, 40)
    assert whole == record(1, 11, name=b"Berth 1") + record(2, 22)
    assert desk.read(4, 0x4000 + 7, 20) == whole[14:54]


def test_slots_are_written_read_freed_and_counted_in_the_crc() -> None:
    """Block CRCs are zlib's over 40 bytes a slot, a free slot as zeros though it reads as its number and zeros."""
    desk = Desk()
    assert desk.long(0x0102) == zlib.crc32(bytes(32 * 40)) == 0xFCC39D65
    assert desk.write(0x0100, window(1, record(2, 48231907, (1, 0, 6), b"Berth 12"))) == 0
    raw = record(2, 48231907, (1, 0, 6), b"Berth 12")
    assert desk.read(4, 0x4000 + 20, 20) == raw
    assert desk.read(4, 0x4000, 20) == b"\0\1" + bytes(38)
    crcs = struct.unpack(">I32II", desk.read(4, 0x0100, 68))
    assert crcs[0] == crcs[33] == desk.revision == 2
    assert crcs[1] == zlib.crc32(bytes(40) + raw + bytes(30 * 40))
    assert crcs[2] == zlib.crc32(bytes(32 * 40))
    assert crcs[3:33] == (0,) * 30  # 64 slots make two blocks
    for freed in (record(2, 0), record(2, 48231907, (0,))):
        assert desk.write(0x0100, window(desk.revision, freed)) == 0
        assert desk.read(4, 0x4000 + 20, 20) == b"\0\2" + bytes(38)
    assert desk.revision == 3  # the second one found it free already
    assert desk.long(0x0102) == 0xFCC39D65


@pytest.mark.parametrize(
    "data",
    [
        window(1),  # no slot
        window(1, record(1, 5)[:-2]),  # not a whole record
        window(1, record(1, 5), record(2, 6)[:20]),
        window(1, record(2, 5), record(1, 6)),  # not ascending
        window(1, record(2, 5), record(2, 6)),
        window(1, record(0, 5)),
        window(1, record(1, 5), record(65, 6)),  # behind the last slot
        window(1, record(1, 5, (0x10,))),  # output 5 of 4
        window(2, record(1, 5)),  # a revision that has not been yet
    ],
)
def test_a_slot_write_of_a_wrong_shape_changes_nothing(data: bytes) -> None:
    """Exception 03, out-of-range, and no slot is written, not even a good one in front."""
    desk = Desk()
    assert desk.write(0x0100, data) == 3
    assert desk.refusal == RANGE
    assert desk.revision == 1
    assert desk.read(4, 0x4000, 20) == b"\0\1" + bytes(38)


def test_a_slot_write_must_begin_at_the_window() -> None:
    """Inside the window is exception 03, across its end 02."""
    desk = Desk()
    assert desk.write(0x0102, record(1, 5)) == 3
    assert desk.write_one(0x0100, 1) == 3
    assert desk.write(0x0100 + 120, bytes(8)) == 2


def test_a_slot_changed_since_the_revision_seen_is_not_written_over() -> None:
    """Exception 04, slot-changed, for the whole request; other slots still take the old revision."""
    desk = Desk()
    assert desk.write(0x0100, window(1, record(3, 33))) == 0
    assert desk.write(0x0100, window(1, record(2, 22), record(3, 44))) == 4
    assert desk.refusal == CHANGED
    assert desk.read(4, 0x4000 + 20, 20) == b"\0\2" + bytes(38)
    assert desk.write(0x0100, window(1, record(2, 22))) == 0
    assert desk.write(0x0100, window(2, record(3, 44))) == 0


def test_rewriting_what_stands_changes_nothing() -> None:
    """No revision, no event; a request with one real change raises the revision by one and tells one event."""
    desk = Desk()
    desk.write(0x0100, window(1, record(1, 11), record(2, 22)))
    told = desk.long(0x0007)
    assert desk.write(0x0100, window(2, record(1, 11), record(2, 22))) == 0
    assert (desk.revision, desk.long(0x0007)) == (2, told)
    assert desk.write(0x0100, window(2, record(1, 11), record(2, 23), record(3, 33))) == 0
    assert desk.revision == 3
    assert desk.events(told) == [(5, 2, 23, 2, 0, 0, 2, 0)]


def test_settings_are_written_in_part_within_limits() -> None:
    """Function 6 and 16; outside the limits, for outputs that aren't there, or with stray bits: exception 03."""
    desk = Desk()
    assert desk.write_one(0x0001, 3600) == 0
    assert desk.write(0x0002, struct.pack(">2H", 1, 7)) == 0
    assert struct.unpack(">9H", desk.read(3, 0x0000, 9)) == (5, 3600, 1, 7, 0, 0, 0, 0, 1)
    for address, value in ((0, 0), (0, 3601), (4, 5), (8, 2)):
        assert desk.write_one(address, value) == 3
    assert desk.refusal == RANGE
    assert desk.revision == 3
    assert desk.write_one(0x0008, 0) == 0
    assert desk.events(1) == [
        (6, 2, 0, 0, 0, 2, 3600, 0),
        (6, 2, 0, 0, 0, 3, 1, 0),
        (6, 2, 0, 0, 0, 4, 7, 0),
        (7, 2, 0, 0, 0, 0, 0, 0),
    ]


def test_locked_receiver_answers_identity_and_status_alone() -> None:
    """Everything else is exception 04, locked, until the right password; missing registers stay exception 02."""
    desk = Desk()
    assert desk.write(0x0028, b"harbour\0") == 0
    assert desk.read(3, 0x0000, 9)  # still unlocked after setting one
    assert desk.write_one(0x0030, 1) == 0
    assert desk.word(0x000F) == 0
    for function, address in ((3, 0x0000), (4, 0x0100), (4, 0x1000), (4, 0x4000), (4, 0xA000)):
        assert desk.refused(function, address, 1) == 4
    for address, count in ((0x0028, 4), (0x0038, 4), (0x0040, 2), (0x0100, 22)):
        assert desk.write(address, bytes(2 * count)) == 4
    assert desk.write_one(0x0031, 5) == 4
    assert desk.refusal == LOCKED
    assert desk.refused(4, 0x0900, 1) == 2
    assert desk.read(4, 0x0040, 44)
    assert desk.ask(bytes.fromhex("2b0e0100"))[0] == 0x2B
    assert desk.write(0x0020, b"harbour\0") == 0
    assert desk.word(0x000F) == 60
    assert desk.read(3, 0x0000, 9)


def test_unlocked_time_is_renewed_by_configuration_requests_alone() -> None:
    """60 s after the last one it is locked again; polling status, identity, ring and volatile data renews nothing."""
    desk = Desk()
    desk.write(0x0028, b"quay\0\0\0\0")
    desk.now += 50
    for address in (0x0000, 0x0040, 0x1000, 0xA000):
        desk.read(4, address, 1)
    assert desk.word(0x000F) == 10
    desk.read(4, 0x4000, 20)
    assert desk.word(0x000F) == 60
    desk.now += 60
    assert desk.refused(3, 0x0000, 9) == 4


def test_wrong_passwords_wait_longer_each_time_and_never_for_ever() -> None:
    """1, 2, 4 ... 60 s; a try meanwhile, right or wrong, is exception 06; a right one ends the waits."""
    desk = Desk()
    desk.write(0x0028, b"fennel\0\0")
    desk.write_one(0x0030, 1)
    for wait in (1, 2, 4, 8, 16, 32, 60, 60):
        assert desk.write(0x0020, b"gull\0\0\0\0") == 3
        assert desk.refusal == WRONG
        desk.now += wait - 0.01
        assert desk.write(0x0020, b"fennel\0\0") == 6
        assert desk.refusal == WAIT
        desk.now += 0.01
    assert desk.write(0x0020, b"fennel\0\0") == 0
    desk.write_one(0x0030, 1)
    assert desk.write(0x0020, b"gull\0\0\0\0") == 3
    desk.now += 1
    assert desk.write(0x0020, b"fennel\0\0") == 0


def test_a_restart_locks_and_a_password_is_switched_off_by_zeros() -> None:
    """The unlocked time ends with the power; all zero bytes mean no password."""
    desk = Desk()
    desk.write(0x0028, b"12345678")
    desk.receiver.power_off(desk.now)
    assert desk.ask(bytes.fromhex("0400000001")) == b""
    desk.receiver.power_on(desk.now)
    assert desk.refused(3, 0x0000, 9) == 4
    assert desk.write(0x0020, b"12345678") == 0
    assert desk.write(0x0028, bytes(8)) == 0
    assert desk.word(0x000E) == 0b010
    desk.write_one(0x0030, 1)
    assert desk.read(3, 0x0000, 9)


@pytest.mark.parametrize("data", [b"a b\0\0\0\0\0", b"a\0b\0\0\0\0\0", b"\xc3\xa4\0\0\0\0\0\0", b"quay"])
def test_passwords_that_could_not_be_typed_again_are_refused(data: bytes) -> None:
    """Blanks, letters beyond ASCII, zeros inside and parts of the block: exception 03."""
    assert Desk().write(0x0028, data) == 3


def test_factory_reset_needs_its_key() -> None:
    """Slots, password, on-times and lock go; modes and boot count stay; the revision rises."""
    desk = Desk()
    desk.write(0x0100, window(1, record(7, 77)))
    desk.write_one(0x0000, 9)
    desk.write_one(0x0008, 0)
    desk.write(0x0028, b"quay\0\0\0\0")
    revision = desk.revision
    assert desk.write(0x0040, b"LEAR") == 3
    assert desk.refusal == KEY
    assert desk.write(0x0040, b"CLEA") == 0  # 0x434C4541
    assert desk.revision == revision + 1
    assert struct.unpack(">9H", desk.read(3, 0x0000, 9)) == (5, 5, 5, 5, 0, 0, 0, 0, 1)
    assert desk.word(0x000E) == 0b010
    assert desk.word(0x000D) == 0b01010101
    assert desk.read(4, 0x4000 + 6 * 20, 20) == b"\0\7" + bytes(38)
    assert desk.write(0x0100, window(revision, record(7, 78))) == 4  # it has changed by the reset


def test_operate_closes_once_and_the_receiver_ends_it() -> None:
    """Duration in tenths, 0 for the own on-time; a repeated nonce does nothing."""
    desk = Desk()
    assert desk.write(0x0038, struct.pack(">HHI", 2, 15, 0xCAFE)) == 0
    assert desk.word(0x000C) == 0b0010
    desk.now += 1.4
    assert desk.write(0x0038, struct.pack(">HHI", 2, 15, 0xCAFE)) == 0
    assert desk.word(0x000C) == 0b0010
    desk.now += 0.1
    assert desk.word(0x000C) == 0
    assert desk.write(0x0038, struct.pack(">HHI", 2, 0, 0xCAFE)) == 0
    assert desk.word(0x000C) == 0
    assert desk.write(0x0038, struct.pack(">HHI", 1, 0, 0xBEEF)) == 0
    desk.now += 4.9
    assert desk.word(0x000C) == 0b0001
    desk.now += 0.1
    assert desk.word(0x000C) == 0
    assert desk.events(1) == [
        (4, 2, 0, 0, 0, 2, 1, 0),
        (4, 0, 0, 0, 0, 2, 0, 0),
        (4, 2, 0, 0, 0, 1, 1, 0),
        (4, 0, 0, 0, 0, 1, 0, 0),
    ]


def test_operate_is_refused_where_it_must_be() -> None:
    """Latching outputs: 04, mode-forbids. Outputs that aren't there, too long, or momentary without a duration: 03."""
    desk = Desk()
    desk.receiver.set_mode(1, OutputMode.LATCHING, desk.now)
    desk.receiver.set_mode(2, OutputMode.MOMENTARY, desk.now)
    assert desk.write(0x0038, struct.pack(">HHI", 1, 10, 1)) == 4
    assert desk.refusal == FORBIDS
    for output, duration in ((0, 10), (5, 10), (3, 36001), (2, 0)):
        assert desk.write(0x0038, struct.pack(">HHI", output, duration, 1)) == 3
    assert desk.word(0x000C) == 0


def test_listening_ends_by_itself_and_flags_presses() -> None:
    """1 to 60 s; known transmitters keep working meanwhile; more than 60 is exception 03."""
    desk = Desk()
    desk.write(0x0100, window(1, record(1, 55)))
    assert desk.write_one(0x0031, 61) == 3
    assert desk.write_one(0x0031, 30) == 0
    assert (desk.word(0x0010), desk.word(0x0011)) == (1, 30)
    desk.receiver.press(55, 1, desk.now)
    desk.receiver.press(99, 2, desk.now)
    assert desk.word(0x000C) == 1
    desk.now += 30
    assert (desk.word(0x0010), desk.word(0x0011)) == (0, 0)
    desk.receiver.press(99, 2, desk.now)
    presses = [event for event in desk.events(2) if event[0] == 2]
    assert presses == [(2, 1, 55, 1, 1, 0, 0, 1), (2, 1, 99, 0, 2, 0, 0, 1), (2, 1, 99, 0, 2, 0, 0, 0)]
    assert desk.write_one(0x0031, 60) == 0
    assert desk.write_one(0x0031, 0) == 0
    assert desk.word(0x0010) == 0


def test_slow_write_keeps_the_receiver_busy() -> None:
    """While it is under way all but status and identity is exception 06, memory-busy; the status says busy."""
    desk = Desk()
    desk.unit.faults.slow_write_s, desk.unit.faults.slow_write_next = 2.0, 1
    assert desk.write(0x0100, window(1, record(1, 5))) == 0
    assert desk.word(0x000E) == 0b110
    desk.read(4, 0x0040, 44)
    assert desk.refused(4, 0x4000, 20) == 6
    assert desk.write(0x0038, struct.pack(">HHI", 1, 10, 1)) == 6
    assert desk.refusal == BUSY
    desk.now += 2
    assert desk.word(0x000E) == 0b010
    assert desk.read(4, 0x4000, 20) == record(1, 5)


def test_volatile_data_lies_outside_the_crcs_and_goes_with_the_slot() -> None:
    """A press is noted with its uptime and battery; the CRC and revision stay; writing the slot clears it."""
    desk = Desk()
    desk.write(0x0100, window(1, record(2, 22)))
    crc = desk.long(0x0102)
    desk.now += 3.2
    desk.receiver.set_battery(22, "low")
    desk.receiver.press(22, 1, desk.now)
    assert struct.unpack(">IH", desk.read(4, 0xA000 + 3, 3)) == (32, 2)
    assert struct.unpack(">HIHIHI", desk.read(4, 0xA002, 9)) == (0, 32, 2, 0, 0, 0)
    assert (desk.long(0x0102), desk.revision) == (crc, 2)
    desk.write(0x0100, window(2, record(2, 23)))
    assert desk.read(4, 0xA000 + 3, 3) == bytes(6)


def test_injected_exceptions_do_nothing_else() -> None:
    """The request is answered with the code that was ordered and not done."""
    desk = Desk()
    desk.unit.faults.exception_code, desk.unit.faults.exception_next = 8, 1
    assert desk.write_one(0x0000, 9) == 8
    assert desk.revision == 1
    assert desk.write_one(0x0000, 9) == 0
