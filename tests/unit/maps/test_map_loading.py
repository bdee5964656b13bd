"""Maps: the built-in ones hold together, and a wrong one is refused with place and remedy."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.domain.receiver import Capability
from gateway.errors import MapFault
from gateway.maps import ReceiverMap, Role, Table, Value, built_in_maps, load_map, loading

PLAIN = resources.files("gateway.maps").joinpath("plain-io.toml").read_text("utf-8")
REFERENCE = resources.files("gateway.maps").joinpath("reference.toml").read_text("utf-8")


def written(folder: Path, text: str) -> str:
    """A map file's path."""
    path = folder / "own.toml"
    path.write_text(text, "utf-8")
    return str(path)


def test_built_in_maps_load() -> None:
    """Both maps that come with the program are whole, and say what they make possible."""
    assert built_in_maps() == ("plain-io", "reference")
    assert load_map("reference").capabilities == frozenset(Capability)
    assert load_map("plain-io").capabilities == frozenset()


def test_status_is_one_read_in_the_reference_map() -> None:
    """A poll of the reference map is a single request."""
    reference = load_map("reference")
    assert len(reference.status_blocks) == 1
    assert reference.status_blocks[0].table is Table.INPUT


def test_slot_write_window_holds_whole_slots() -> None:
    """The window is the revision seen and as many whole slots as one write request of 123 registers can carry."""
    reference = load_map("reference")
    window, slot = reference.block(Role.SLOT_WRITE), reference.block(Role.SLOTS)
    assert (window.count - 2) % slot.count == 0
    assert window.count <= 123 < window.count + slot.count


def test_slot_round_trip() -> None:
    """A slot record keeps every field, at the places that the file names."""
    block = load_map("reference").block(Role.SLOTS)
    values: dict[str, Value] = {
        "number": 118,
        "serial": 48231907,
        "kind": 6,
        "flags": 0x8001,
        "outputs": (frozenset({1}), frozenset(), frozenset({3, 8}), *[frozenset[int]()] * 5),
        "name": "Berth 12 é",
        "opaque": b"\x01\x02\x03\x04\x05\x06",
    }
    raw = block.encode(values)
    assert raw[:12].hex() == "007602dff5e3000680010100"
    assert raw[12:14].hex() == "8400"
    assert block.decode(raw) == values


def test_low_word_first() -> None:
    """A map may say that a 32-bit value's low word comes first."""
    text = REFERENCE.replace('name = "reference"', 'name = "other"\nwords = "low-first"')
    block = parse(text).block(Role.SLOTS)
    raw = block.encode({"serial": 0x01020304})
    assert raw[2:6].hex() == "03040102"
    assert block.decode(raw)["serial"] == 0x01020304


def parse(text: str) -> ReceiverMap:
    """A map from text."""
    return loading._parse(text, "test")


@given(st.integers(0, 0xFFFFFFFF), st.integers(0, 0xFFFF), st.tuples(*[st.frozensets(st.integers(1, 8))] * 8))
def test_any_slot_round_trips(serial: int, flags: int, outputs: tuple[frozenset[int], ...]) -> None:
    """Whatever a slot holds comes back as it was."""
    block = load_map("reference").block(Role.SLOTS)
    values = block.decode(block.encode({"serial": serial, "flags": flags, "outputs": outputs}))
    assert (values["serial"], values["flags"], values["outputs"]) == (serial, flags, outputs)


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("local_programming = { at = 14, type = \"flag\", bit = 1 }", "local_programming = { at = 14, type = \"u16\" }",
         "field password_set overlaps field local_programming"),
        ("boot_count = { at = 1,", "boot_count = { at = 2,", "field uptime_s overlaps field boot_count"),
        ("address = 0x0040\ncount = 44", "address = 0x0010\ncount = 44", "block “identity” overlaps block “status”"),
        ("count = 12\nrecords = 512", "count = 9\nrecords = 512", "ends behind the block's count of 9"),
        ("answer_ms = 20", "answer_mss = 20", "answer_mss: unknown key; take it out"),
        ("codes = \"mode\"", "codes = \"modes\"", "there is no table [codes.modes]"),
        ("role = \"ring\"", "role = \"rings\"", "block “ring” role"),
        ("[block.fields]\nseen", "[block.fields]\nsaw", "needs the fields seen"),
        ("9 = [\"1\", \"2\"", "9 = [\"1\", \"1\"", "code 9 needs one to eight different positions"),
        ("1 = [\"1\"]", "1 = [\"1+9\"]", "1+9 is not a position"),
        ("address = 0x4000", "address = 0xB001", "it ends behind address 65535"),
        ("table = \"holding\"\naddress = 0x0031", "table = \"input\"\naddress = 0xE031",
         "table input can't be written"),
    ],
)  # fmt: skip
def test_faults_name_place(tmp_path: Path, old: str, new: str, said: str) -> None:
    """Every fault is told with the block and field it stands in."""
    assert old in REFERENCE
    with pytest.raises(MapFault) as caught:
        load_map(written(tmp_path, REFERENCE.replace(old, new, 1)))
    assert said in caught.value.message
    assert "own.toml" in caught.value.message
    assert caught.value.remedy


def test_all_faults_in_one_pass(tmp_path: Path) -> None:
    """Two faults are told together."""
    text = PLAIN.replace("count = 8\nopen", "count = 4\nopen")
    with pytest.raises(MapFault, match="2 faults"):
        load_map(written(tmp_path, text))


def test_not_toml_and_not_there(tmp_path: Path) -> None:
    """Broken TOML is told with its line, a missing file with its path, an unknown name with the known ones."""
    with pytest.raises(MapFault, match=r"line 1"):
        load_map(written(tmp_path, "name = \n"))
    with pytest.raises(MapFault, match=r"absent\.toml can't be read"):
        load_map(str(tmp_path / "absent.toml"))
    with pytest.raises(MapFault) as caught:
        load_map("referense")
    assert "plain-io, reference" in caught.value.remedy


@pytest.mark.parametrize("count", [1, 4, 8, 11, 16, 19])
def test_bits_of_a_bit_table(count: int) -> None:
    """Octets of a bit table carry the lowest number in their lowest bit: the specification's own answer to FC 1.

    Source: Modbus Application Protocol V1.1b3, section 6.1: coils 20 to 38 are CD 6B 05.
    """
    text = PLAIN.replace("count = 8", f"count = {count}")
    block = parse(text).status_blocks[0]
    raw = bytes.fromhex("cd6b05")[: (count + 7) // 8]
    number = int.from_bytes(raw, "little") & ((1 << count) - 1)
    raw = number.to_bytes(len(raw), "little")
    values = block.decode(raw)["inputs"]
    said = (1, 0, 1, 1, 0, 0, 1, 1, 1, 1, 0, 1, 0, 1, 1, 0, 1, 0, 1)
    assert values == tuple(bool(bit) for bit in said[:count])
    assert block.encode({"inputs": values}) == raw
