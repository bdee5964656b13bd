"""From a TOML file to a checked map.

All faults of a file are found in one pass and raised together as one MapFault, each with the block and field
it stands in and what to write instead.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from importlib import resources
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic import Field as Constraint
from pydantic_core import ErrorDetails

from gateway.domain.receiver import Limits
from gateway.domain.transmitter import POSITION_LABEL, Kind, SerialForm
from gateway.domain.wrong_value import tell_key
from gateway.errors import MapFault
from gateway.maps.fields import Field, FieldType
from gateway.maps.layout import REQUIRED_FIELDS, Block, ReceiverMap, Role, Table

__all__ = ["built_in_maps", "load_map"]

_MAX_BITS, _MAX_REGISTERS = 2000, 125  # quantities of FC 1/2 and 3/4, Application Protocol V1.1b3, 6.1 to 6.4
_REPEATED = frozenset({Role.RING, Role.SLOTS, Role.SLOT_VOLATILE})


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class _FieldFile(_Strict):
    at: Annotated[int, Constraint(ge=0)]
    type: Annotated[FieldType, Constraint(strict=False)]
    count: Annotated[int, Constraint(ge=1, le=125)] = 1
    registers: Annotated[int, Constraint(ge=1, le=125)] | None = None
    bit: Annotated[int, Constraint(ge=0, le=15)] | None = None
    half: Literal["high", "low"] | None = None
    width: Annotated[int, Constraint(ge=1, le=8)] | None = None
    codes: str | None = None


class _BlockFile(_Strict):
    name: Annotated[str, Constraint(min_length=1)]
    role: Annotated[Role, Constraint(strict=False)]
    table: Annotated[Table, Constraint(strict=False)]
    address: Annotated[int, Constraint(ge=0, le=0xFFFF)]
    count: Annotated[int, Constraint(ge=1)]
    records: Annotated[int, Constraint(ge=1)] = 1
    open: bool = False
    readable: bool = True
    writable: bool = False
    answer_ms: Annotated[int, Constraint(ge=1, le=60_000)] = 100
    constants: dict[str, int] = {}
    fields: dict[str, _FieldFile] = {}


class _SerialFile(_Strict):
    base: Literal[10, 16] = 10
    digits: Annotated[int, Constraint(ge=1, le=10)] = 10


class _LimitsFile(_Strict):
    outputs: Annotated[int, Constraint(ge=0, le=64)]
    inputs: Annotated[int, Constraint(ge=0, le=64)]
    slots: Annotated[int, Constraint(ge=0, le=65_535)] = 0
    positions: Annotated[int, Constraint(ge=0, le=8)] = 0
    on_time_min_s: Annotated[int, Constraint(ge=0, le=65_535)] = 0
    on_time_max_s: Annotated[int, Constraint(ge=0, le=65_535)] = 0
    name_bytes: Annotated[int, Constraint(ge=0, le=64)] = 0
    block_slots: Annotated[int, Constraint(ge=1, le=256)] = 32


class _MapFile(_Strict):
    name: Annotated[str, Constraint(pattern=r"^[a-z0-9][a-z0-9-]*$")]
    title: str
    version: Annotated[int, Constraint(ge=0, le=65_535)]
    words: Literal["high-first", "low-first"] = "high-first"
    device_identification: bool = False
    serial: _SerialFile = _SerialFile()
    limits: _LimitsFile
    text: dict[str, str] = {}
    codes: dict[str, dict[str, str]] = {}
    kinds: dict[str, list[str]] = {}
    block: Annotated[list[_BlockFile], Constraint(min_length=1)]


def built_in_maps() -> tuple[str, ...]:
    """The names of the maps that come with the program."""
    folder = resources.files("gateway.maps")
    return tuple(sorted(item.name[:-5] for item in folder.iterdir() if item.name.endswith(".toml")))


def load_map(name_or_path: str) -> ReceiverMap:
    """Load a built-in map by name, or any other by its path. Raises MapFault with all that is wrong in it."""
    if name_or_path in built_in_maps():
        text = resources.files("gateway.maps").joinpath(f"{name_or_path}.toml").read_text("utf-8")
        return _parse(text, name_or_path)
    path = Path(name_or_path)
    if path.suffix != ".toml":
        known = ", ".join(built_in_maps())
        raise MapFault(
            f"There is no built-in map “{name_or_path}”.",
            remedy=f"Write one of {known}, or the path of a map file that ends in .toml.",
        )
    try:
        text = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as fault:
        reason = fault.strerror if isinstance(fault, OSError) else "it is not UTF-8 text"
        raise MapFault(
            f"The map file {path} can't be read: {reason}.", remedy="Check the path, its rights and its encoding."
        ) from fault
    return _parse(text, str(path))


def _parse(text: str, source: str) -> ReceiverMap:
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise MapFault(f"The map {source} is not valid TOML: {fault}.", remedy="Mend that line.") from fault
    try:
        parsed = _MapFile.model_validate(raw)
    except ValidationError as fault:
        places = [f"{_place(raw, error['loc'])}: {_words(error)}" for error in fault.errors()]
        raise _refuse(source, places) from fault
    faults: list[str] = []
    blocks = tuple(_compile_block(block, parsed, faults) for block in parsed.block)
    faults += [*_block_faults(blocks), *_kind_faults(parsed)]
    if faults:
        raise _refuse(source, faults)
    return ReceiverMap(
        name=parsed.name,
        title=parsed.title,
        version=parsed.version,
        serial_form=SerialForm(parsed.serial.base, parsed.serial.digits),
        limits=_limits(parsed, blocks),
        blocks=blocks,
        kinds={int(code): Kind(f"kind-{code}", tuple(labels)) for code, labels in parsed.kinds.items()},
        device_identification=parsed.device_identification,
        text=parsed.text,
        source=source,
    )


def _refuse(source: str, faults: list[str]) -> MapFault:
    count = "one fault" if len(faults) == 1 else f"{len(faults)} faults"
    return MapFault(
        f"The map {source} has {count}: " + "; ".join(faults) + ".",
        remedy="Mend the map file; docs/register-map.md shows a whole one.",
    )


def _words(error: ErrorDetails) -> str:
    return tell_key(error["type"], error.get("ctx", {}), error["input"], error["msg"])


def _place(raw: dict[str, object], location: tuple[int | str, ...]) -> str:
    """Name a place by the block's own name instead of its number in the list."""
    parts = [str(part) for part in location]
    if len(location) > 1 and location[0] == "block" and isinstance(location[1], int):
        listed = raw.get("block")
        entry = listed[location[1]] if isinstance(listed, list) else {}
        name = entry.get("name", location[1] + 1) if isinstance(entry, dict) else location[1] + 1
        parts = [f"block “{name}”", *parts[2:]]
    return " ".join(parts)


def _compile_block(block: _BlockFile, whole: _MapFile, faults: list[str]) -> Block:
    fields: dict[str, Field] = {}
    for name, spec in block.fields.items():
        problem = _option_problem(spec, block, whole)
        if problem:
            faults.append(f"block “{block.name}”, field {name}: {problem}")
        else:
            fields[name] = _compile_field(name, spec, block, whole)
    faults += _field_faults(block, fields)
    return Block(
        name=block.name,
        role=block.role,
        table=block.table,
        address=block.address,
        count=block.count,
        fields=fields,
        records=block.records,
        open=block.open,
        readable=block.readable,
        writable=block.writable,
        answer_s=block.answer_ms / 1000,
        constants=block.constants,
    )


_SIZES = {FieldType.U16: 16, FieldType.U32: 32, FieldType.U8: 8, FieldType.FLAG: 1, FieldType.PACKED: 16}
_PER_COUNT = {FieldType.U16S: 16, FieldType.U32S: 32, FieldType.MASKS: 8}


def _compile_field(name: str, spec: _FieldFile, block: _BlockFile, whole: _MapFile) -> Field:
    unit = 1 if block.table.of_bits else 16
    start, size = spec.at * unit, _size_bits(spec, block)
    if spec.type is FieldType.FLAG:
        start += 15 - (spec.bit or 0)
    if spec.half == "low":
        start += 8
    codes = whole.codes.get(spec.codes or "", {})
    return Field(
        name=name,
        type=spec.type,
        at=spec.at,
        start_bit=start,
        size_bits=size,
        count=spec.count,
        bit=spec.bit or 0,
        width=spec.width or 0,
        low_first=whole.words == "low-first",
        of_bits=block.table.of_bits,
        codes={int(code): text for code, text in codes.items() if code.isdigit()},
    )


def _size_bits(spec: _FieldFile, block: _BlockFile) -> int:
    if block.table.of_bits:
        return -(-spec.count // 8) * 8
    if spec.type in (FieldType.TEXT, FieldType.BYTES):
        return 16 * (spec.registers or 1)
    if spec.type is FieldType.CODE:
        return 8 if spec.half else 16
    if spec.type is FieldType.BITS:
        return 16
    return _SIZES.get(spec.type, 0) or _PER_COUNT[spec.type] * spec.count


def _option_problem(spec: _FieldFile, block: _BlockFile, whole: _MapFile) -> str:
    """The first thing that does not fit the field's type, in words; empty when all does."""
    if block.table.of_bits and (spec.type is not FieldType.BITS or spec.at % 8):
        return "a table of bits holds only fields of type bits, beginning at a multiple of 8"
    needs = {
        FieldType.FLAG: ("bit", spec.bit),
        FieldType.U8: ("half", spec.half),
        FieldType.CODE: ("codes", spec.codes),
        FieldType.PACKED: ("codes and width", spec.codes and spec.width),
        FieldType.TEXT: ("registers", spec.registers),
        FieldType.BYTES: ("registers", spec.registers),
    }
    option, value = needs.get(spec.type, ("", True))
    if value is None:
        return f"type {spec.type} needs {option}"
    if spec.codes is not None and spec.codes not in whole.codes:
        return f"there is no table [codes.{spec.codes}]"
    bits = {FieldType.PACKED: spec.count * (spec.width or 0), FieldType.BITS: spec.count}.get(spec.type, 0)
    if bits > 16 and not block.table.of_bits:
        return f"{bits} bits don't fit in the 16 of a register"
    odd = spec.type is FieldType.MASKS and spec.count % 2
    return "masks fill whole registers: write an even count" if odd else ""


def _field_faults(block: _BlockFile, fields: dict[str, Field]) -> Iterator[str]:
    unit = 1 if block.table.of_bits else 16
    last: Field | None = None
    for spec in sorted(fields.values(), key=lambda item: item.start_bit):
        size = spec.count if spec.of_bits else spec.size_bits
        if spec.start_bit + size > block.count * unit:
            yield f"block “{block.name}”, field {spec.name}: it ends behind the block's count of {block.count}"
        if last and spec.start_bit < last.start_bit + last.size_bits:
            yield f"block “{block.name}”: field {spec.name} overlaps field {last.name}; give one another place"
        if last is None or spec.start_bit + spec.size_bits > last.start_bit + last.size_bits:
            last = spec
    missing = REQUIRED_FIELDS[block.role] - set(block.fields)
    if missing:
        yield f"block “{block.name}”: role {block.role} needs the fields {', '.join(sorted(missing))}"
    for name in sorted(set(block.constants) - set(block.fields)):
        yield f"block “{block.name}”: the constant {name} has no field"
    limit = _MAX_BITS if block.table.of_bits else _MAX_REGISTERS
    if block.count > limit:
        yield f"block “{block.name}”: {block.count} is more than the {limit} that one Modbus request can carry"
    if block.records > 1 and block.role not in _REPEATED:
        yield f"block “{block.name}”: role {block.role} has no records; leave records out"
    if block.writable and block.table in (Table.DISCRETE, Table.INPUT):
        yield f"block “{block.name}”: table {block.table} can't be written; use coil or holding"


def _block_faults(blocks: tuple[Block, ...]) -> Iterator[str]:
    seen: set[Role] = set()
    for block in blocks:
        if block.role in seen and block.role is not Role.STATUS:
            yield f"block “{block.name}”: role {block.role} stands twice"
        seen.add(block.role)
        if block.end > 0x1_0000:
            yield f"block “{block.name}”: it ends behind address 65535"
    for table in Table:
        placed = sorted((block for block in blocks if block.table is table), key=lambda block: block.address)
        for first, second in pairwise(placed):
            if second.address < first.end:
                yield (
                    f"block “{second.name}” overlaps block “{first.name}” in table {table} at address "
                    f"{second.address}; move one of them"
                )
    if Role.STATUS not in seen:
        yield "no block has the role status, so nothing could be polled"


def _kind_faults(parsed: _MapFile) -> Iterator[str]:
    for code, labels in parsed.kinds.items():
        if not (code.isdigit() and 0 < int(code) <= 0xFFFF):
            yield f"kinds: {code} is not a code from 1 to 65535"
        if not 1 <= len(labels) <= 8 or len(set(labels)) != len(labels):
            yield f"kinds: code {code} needs one to eight different positions"
        yield from (f"kinds: code {code}: {label} is not a position" for label in labels if not _is_label(label))


def _is_label(label: str) -> bool:
    return POSITION_LABEL.fullmatch(label) is not None


def _limits(parsed: _MapFile, blocks: tuple[Block, ...]) -> Limits:
    ring = next((block.records for block in blocks if block.role is Role.RING), 0)
    name = next((b.fields["name"].size_bits // 8 for b in blocks if b.role is Role.SLOTS and "name" in b.fields), 0)
    given = parsed.limits.model_dump()
    given["name_bytes"] = given["name_bytes"] or name
    return Limits(**given, ring=ring)
