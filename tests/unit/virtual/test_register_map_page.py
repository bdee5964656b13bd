"""docs/register-map.md against gateway/maps/reference.toml: every literal of the page, both ways."""

from __future__ import annotations

import pytest

from gateway.maps import Block, load_map
from gateway.maps.fields import FieldType
from tests.fakes.register_page import Page, number

MAP = load_map("reference")
PAGE = Page.read()
FUNCTION_OF = {"input": "4", "holding": "3"}
HEADING_OF = {"listen": "Enrolment", "unlock": "Link password", "lock": "Link password", "slots, volatile": "Slots"}


def _heading(block: Block) -> str:
    return HEADING_OF.get(block.name, block.name[0].upper() + block.name[1:])


def test_every_block_stands_in_the_table_of_blocks() -> None:
    """Address in both forms, size, functions, openness and answer time."""
    rows = {row["block"]: row for row in PAGE.table("Blocks")}
    assert set(rows) == {block.name for block in MAP.blocks}
    for block in MAP.blocks:
        row = rows[block.name]
        assert row["role"] == block.role
        assert row["table"] == block.table
        assert number(row["address"]) == int(row["decimal"]) == block.address
        assert (int(row["registers"]), int(row["records"])) == (block.count, block.records)
        assert row["read"] == (FUNCTION_OF[block.table] if block.readable else "no")
        assert (row["write"] == "no") != block.writable
        assert row["open"] == ("yes" if block.open else "no")
        assert row["answer within"] == f"{round(block.answer_s * 1000)} ms"


@pytest.mark.parametrize("block", MAP.blocks, ids=lambda block: block.name)
def test_every_field_stands_in_its_blocks_table(block: Block) -> None:
    """Place, size, type and bit of each; no field of the page is missing in the map."""
    rows = PAGE.fields(_heading(block), block.name, set(block.fields))
    assert {row["field"].strip("`") for row in rows} == set(block.fields)
    for row in rows:
        field = block.fields[row["field"].strip("`")]
        if "offset" in row:
            assert int(row["offset"]) == field.at
        else:
            assert number(row["address"]) == int(row["decimal"]) == block.address + field.at
        assert row["type"] == field.type
        assert int(row["registers"]) == max(1, field.size_bits // 16)
        if field.type is FieldType.FLAG:
            assert row["meaning"].startswith(f"bit {field.bit}:")
        if field.type is FieldType.U8 or (field.type is FieldType.CODE and field.size_bits == 8):
            half = "high" if field.start_bit % 16 == 0 else "low"
            assert row["meaning"].startswith(f"{half} byte;")


@pytest.mark.parametrize(
    ("heading", "block", "field"),
    [
        ("mode", "status", "modes"),
        ("enrolment", "status", "enrolment"),
        ("refusal", "status", "last_refusal"),
        ("event", "ring", "event"),
        ("origin", "ring", "origin"),
        ("battery", "slots, volatile", "battery"),
    ],
)
def test_code_tables_are_the_maps(heading: str, block: str, field: str) -> None:
    """Number and name of every code."""
    codes = next(b for b in MAP.blocks if b.name == block).fields[field].codes
    assert {int(row["code"]): row["name"] for row in PAGE.table(heading)} == dict(codes)


def test_kinds_are_the_maps() -> None:
    """Their positions in the order of their numbers; 0 is not stated."""
    rows = {int(row["code"]): tuple(row["positions"].split(", ")) for row in PAGE.table("kind")}
    assert rows.pop(0) == ("not stated",)
    assert rows == {code: kind.positions for code, kind in MAP.kinds.items()}


def test_the_reset_key_is_the_maps() -> None:
    """In hexadecimal and decimal."""
    block = next(b for b in MAP.blocks if b.name == "factory reset")
    (row,) = PAGE.table("Factory reset")
    assert row["meaning"] == f"0x{block.constants['key']:08X}, decimal {block.constants['key']}"
