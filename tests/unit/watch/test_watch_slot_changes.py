"""What counts as a change of a slot."""

from __future__ import annotations

from dataclasses import replace

from gateway.domain.receiver import Origin
from gateway.watch.slot_changes import slot_changes
from tests.fakes.receiver import some_slot


def test_the_memorys_own_padding_is_no_change() -> None:
    """A slot that we wrote is read back with the maker's bytes filled up by zeros; real bytes there are a change."""
    written = some_slot(7, 50, name="Berth 50")
    read = replace(written, opaque=bytes(6))
    other = some_slot(8, 51)

    def board(number: int) -> Origin:
        return Origin.BOARD

    assert slot_changes({7: written}, {7: read}, board) == []
    (change,) = slot_changes({7: written}, {7: read, 8: other}, board)
    assert change.number == 8
    assert len(slot_changes({7: written}, {7: replace(read, opaque=b"\1")}, board)) == 1
