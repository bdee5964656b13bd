"""The two reads that clear a line of late answers."""

from __future__ import annotations

from dataclasses import replace

from gateway.maps import Role, Table, load_map
from gateway.modbus import ReadCoils, ReadDiscreteInputs, ReadInputRegisters, RegistersRead
from gateway.receivers.probes import choose_probes
from tests.unit.receivers.making import REFERENCE, make

PLAIN = load_map("plain-io")


def test_the_driver_gives_its_line_two_reads_that_look_like_no_other() -> None:
    """The status block short of a register or more: not the length of any slot, event or block."""
    _, wire, _ = make()
    assert wire.probes is not None
    sizes = [probe.count for probe in wire.probes if isinstance(probe, ReadInputRegisters)]
    records = {block.count for block in REFERENCE.blocks}
    assert len(set(sizes)) == 2
    assert all(size % record for size in sizes for record in records - {1, 2, 3, 4, 9})
    assert all(isinstance(probe, RegistersRead) and probe.address == 0 for probe in wire.probes)


def test_a_plain_board_is_probed_in_two_tables() -> None:
    """Eight coils and eight inputs have answers of one length, told apart by their function."""
    assert choose_probes(PLAIN) == (ReadDiscreteInputs(0, 8), ReadCoils(0, 8))


def test_a_single_block_of_eight_bits_has_no_second_probe() -> None:
    """Seven bits come in the same byte as eight; the line then finds a probe of its own."""
    lone = replace(PLAIN, blocks=(PLAIN.blocks[0],))
    assert choose_probes(lone) is None


def test_small_register_blocks_are_probed_all_the_same() -> None:
    """Where every size is somebody's, two different sizes still do."""
    status = replace(REFERENCE.block(Role.STATUS), count=2, table=Table.HOLDING)
    probes = choose_probes(replace(REFERENCE, blocks=(status,)))
    assert probes is not None
    assert probes[0].answer_head != probes[1].answer_head
