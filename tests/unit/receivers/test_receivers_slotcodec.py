"""Slot records and block CRCs, held against bytes packed here with struct and summed with zlib.

The literal layout is docs/register-map.md's: number u16, serial u32, kind u16, flags u16, eight octets of outputs,
16 bytes of name, six opaque octets.
"""

from __future__ import annotations

import struct
import zlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.domain.receiver import Limits, Slot
from gateway.errors import WrongAnswer
from gateway.maps import Role, load_map
from gateway.receivers.slotcodec import SlotCodec, fit_text

BLOCK = load_map("reference").block(Role.SLOTS)
LIMITS = Limits(outputs=8, inputs=8, slots=1024, positions=8, name_bytes=16)


def pack(slot: Slot) -> bytes:
    octets = bytes(sum(1 << output - 1 for output in group) for group in slot.outputs)
    head = (slot.number, slot.serial, slot.kind, slot.flags)
    return struct.pack(">HIHH8s16s6s", *head, octets, slot.name.encode(), slot.opaque)


groups = st.tuples(*[st.frozensets(st.integers(1, 8)) for _ in range(8)]).filter(any)
names = st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=16).filter(
    lambda text: len(text.encode()) <= 16
)
slots = st.builds(
    Slot,
    number=st.integers(1, 1024),
    serial=st.integers(1, 0xFFFF_FFFF),
    kind=st.integers(0, 0xFFFF),
    outputs=groups,
    name=names,
    flags=st.integers(0, 0xFFFF),
    opaque=st.binary(min_size=6, max_size=6),
)


@given(slots)
def test_a_slot_survives_the_way_to_its_record_and_back(slot: Slot) -> None:
    """Encoding gives the published bytes; decoding them gives the slot, also to a codec that never saw it."""
    raw = SlotCodec(BLOCK).encode(slot)
    assert raw == pack(slot)
    assert SlotCodec(BLOCK).decode(raw, slot.number, 8) == slot


@given(st.lists(slots, max_size=32, unique_by=lambda slot: slot.number), st.integers(0, 31))
def test_a_blocks_crc_is_zlibs_over_its_register_bytes(some: list[Slot], block: int) -> None:
    """Empty slots count as zero bytes; slots of other blocks don't count."""
    held = {slot.number: slot for slot in some}
    numbers = range(block * 32 + 1, block * 32 + 33)
    expected = zlib.crc32(b"".join(pack(held[n]) if n in held else bytes(40) for n in numbers))
    assert SlotCodec(BLOCK).block_crc(LIMITS, block, held) == expected


@given(st.binary(min_size=38, max_size=38), st.integers(1, 1024))
def test_whatever_a_record_holds_its_crc_comes_out_as_on_the_wire(body: bytes, number: int) -> None:
    """Damaged names, stray bytes behind a NUL and free slots with left-overs are summed as they were read."""
    codec, raw = SlotCodec(BLOCK), number.to_bytes(2, "big") + body
    slot = codec.decode(raw, number, 8)
    block = LIMITS.block_of(number)
    shown = raw if any(body) else bytes(40)
    expected = zlib.crc32(b"".join(shown if n == number else bytes(40) for n in LIMITS.slots_of(block)))
    assert codec.block_crc(LIMITS, block, {number: slot} if slot else {}) == expected


@given(st.binary(min_size=38, max_size=38))
def test_whatever_slot_is_read_can_be_written_again_and_reads_the_same(body: bytes) -> None:
    """A damaged name is shortened to what fits, so that a changed slot can always be written and proven."""
    slot = SlotCodec(BLOCK).decode(b"\0\1" + body, 1, 8)
    if slot is not None:
        assert SlotCodec(BLOCK).decode(SlotCodec(BLOCK).records([slot], ()), 1, 8) == slot


def test_a_written_slot_counts_with_the_bytes_that_were_written() -> None:
    """After a write, what was read before of that slot is no longer in the sum."""
    codec = SlotCodec(BLOCK)
    damaged = struct.pack(">HIHH8s16s6s", 3, 7, 0, 0, b"\1", b"Berth \xff", b"")
    slot = codec.decode(damaged, 3, 8)
    assert slot is not None
    assert slot.name == "Berth \N{REPLACEMENT CHARACTER}"
    codec.records([slot], ())
    expected = zlib.crc32(bytes(80) + pack(slot) + bytes(29 * 40))
    assert codec.block_crc(LIMITS, 0, {3: slot}) == expected


def test_the_last_block_may_be_short() -> None:
    """200 slots of 32 a block end with a block of eight."""
    limits = Limits(outputs=2, inputs=2, slots=200, positions=8, block_slots=32)
    assert SlotCodec(BLOCK).block_crc(limits, 6, {}) == zlib.crc32(bytes(8 * 40))


def test_another_slots_record_is_not_taken() -> None:
    """A late answer of the same length shows by the number that each record begins with."""
    with pytest.raises(WrongAnswer, match="slot 4 was asked and that of slot 5"):
        SlotCodec(BLOCK).decode(struct.pack(">H38x", 5), 4, 8)


def test_freed_and_written_slots_go_ascending() -> None:
    """A freed slot is its number and zeros."""
    slot = Slot(7, 9, 0, (frozenset({2}),), "Hoist")
    assert SlotCodec(BLOCK).records([slot], [9, 2]) == struct.pack(">H38x", 2) + struct.pack(
        ">HIHH8s16s6s", 7, 9, 0, 0, b"\2", b"Hoist", b""
    ) + struct.pack(">H38x", 9)


def test_a_receiver_of_four_positions_shows_four_unless_it_holds_more() -> None:
    """Nothing that a receiver holds is hidden."""
    four = SlotCodec(BLOCK).decode(struct.pack(">HIHH8s22x", 1, 9, 0, 0, b"\1"), 1, 4)
    more = SlotCodec(BLOCK).decode(struct.pack(">HIHH8s22x", 1, 9, 0, 0, b"\1\0\0\0\2"), 1, 4)
    assert four is not None
    assert more is not None
    assert (len(four.outputs), len(more.outputs)) == (4, 8)


@pytest.mark.parametrize(
    ("name", "room", "kept"),
    [
        ("Berth 12", 16, "Berth 12"),
        ("Hafenb\N{LATIN SMALL LETTER U WITH DIAERESIS}ro", 7, "Hafenb"),
        ("\N{SAILBOAT} berth", 2, ""),
        ("  Berth\t12\N{NULL} \x85", 16, "Berth12"),
        ("Berth 12", 0, ""),
    ],
)
def test_names_are_cut_on_a_characters_border(name: str, room: int, kept: str) -> None:
    """Control characters and outer blanks go; a character that doesn't fit whole isn't begun."""
    assert fit_text(name, room) == kept


def test_a_known_slot_is_not_encoded_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """All sums of a full memory encode each slot once; the same sums again encode none."""
    held = {n: Slot(n, n, 5, (frozenset({1}),) * 8, f"Berth {n}", 0, bytes(6)) for n in range(1, 1025)}
    codec = SlotCodec(BLOCK)
    encoded: list[int] = []
    fresh = codec._fresh

    def counted(slot: Slot) -> bytes:
        encoded.append(slot.number)
        return fresh(slot)

    monkeypatch.setattr(codec, "_fresh", counted)
    first = [codec.block_crc(LIMITS, block, held) for block in range(32)]
    assert sorted(encoded) == list(range(1, 1025))
    encoded.clear()
    assert [codec.block_crc(LIMITS, block, held) for block in range(32)] == first
    assert encoded == []
    assert first[0] == zlib.crc32(b"".join(pack(held[n]) for n in range(1, 33)))
