"""From domain values to JSON and back, in one place.

A frozen dataclass becomes an object of its fields, a tuple or frozenset an array (a frozenset sorted), bytes
hex digits, a datetime its ISO 8601 form in UTC, an enum its value; a mapping becomes an array of pairs when its
keys aren't strings. The type decides how JSON is read back, strictly: a wrong shape is a `CodecFault` that names
the place. A field that is missing takes its default, a field that is unknown is passed over, so that a value
written by an older or newer program is still read.

Canonical JSON has sorted keys, no blanks, ASCII only, no NaN; equal values have equal bytes.
"""

from __future__ import annotations

import dataclasses
import json
import types
from collections.abc import Callable, Mapping
from datetime import UTC, datetime, timedelta
from enum import Enum
from functools import cache, lru_cache
from typing import Any, TypeVar, Union, cast, get_args, get_origin, get_type_hints

__all__ = ["CodecFault", "canonical", "decode", "encode", "from_micros", "parse", "to_micros"]

T = TypeVar("T")
Reader = Callable[[Any, str], Any]

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MICROSECOND = timedelta(microseconds=1)


class CodecFault(ValueError):
    """JSON that is not the value it should be."""


def canonical(value: Any) -> str:
    """Plain JSON as its one text. Raises TypeError or ValueError for what is not plain JSON."""
    return json.dumps(value, sort_keys=True, separators=(",", ":"), allow_nan=False, default=_plain)


def parse(text: str) -> Any:
    """The JSON of a text. Raises CodecFault."""
    try:
        return json.loads(text)
    except json.JSONDecodeError as fault:
        raise CodecFault(f"not JSON: it can't be read on from line {fault.lineno}, column {fault.colno}") from fault
    except (ValueError, RecursionError) as fault:
        raise CodecFault("not JSON: a number in it is too long, or lists stand too deep in one another") from fault


def to_micros(time: datetime) -> int:
    """Microseconds since 1970 of an aware time. Raises ValueError for a naive one."""
    if time.tzinfo is None:
        raise ValueError(f"a time without a zone: {time!r}")
    return (time - _EPOCH) // _MICROSECOND


def from_micros(micros: int) -> datetime:
    """Aware UTC. Raises CodecFault beyond the years 1 to 9999."""
    try:
        return _EPOCH + timedelta(microseconds=micros)
    except OverflowError as fault:
        raise CodecFault(f"no such time: {micros}") from fault


def encode(value: Any) -> Any:
    """Plain JSON of a domain value. Raises TypeError for a type that has no form, ValueError for a naive time."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: encode(getattr(value, field.name)) for field in dataclasses.fields(value)}
    for kinds, write in _WRITERS:
        if isinstance(value, kinds):
            return write(value)
    raise TypeError(f"no JSON form for {type(value).__name__}")


def decode(kind: type[T], plain: Any) -> T:
    """The value of type `kind`. Raises CodecFault."""
    return cast(T, _reader(cast(Any, kind))(plain, kind.__name__))


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        return dict(value)
    raise TypeError(f"not plain JSON: {type(value).__name__}")


def _write_mapping(value: Mapping[Any, Any]) -> Any:
    if all(isinstance(key, str) for key in value):
        return {key: encode(item) for key, item in value.items()}
    return [[encode(key), encode(value[key])] for key in sorted(value)]


def _write_time(value: datetime) -> str:
    to_micros(value)
    return value.astimezone(UTC).isoformat()


_Kinds = type | tuple[type, ...]
_WRITERS: tuple[tuple[_Kinds, Callable[[Any], Any]], ...] = (
    (Enum, lambda value: value.value),  # before str: a StrEnum is both
    ((str, int, float, type(None)), lambda value: value),
    (frozenset, lambda value: sorted(encode(item) for item in value)),
    ((tuple, list), lambda value: [encode(item) for item in value]),
    (Mapping, _write_mapping),
    (datetime, _write_time),
    (bytes, bytes.hex),
)


@cache
def _reader(kind: Any) -> Reader:
    origin, arguments = get_origin(kind), get_args(kind)
    if kind in _SCALARS:
        return _SCALARS[kind]
    if origin in (Union, types.UnionType):
        return _optional_reader(arguments)
    if origin in (tuple, frozenset):
        return _sequence_reader(origin, arguments)
    if origin is not None and issubclass(origin, Mapping):
        return _mapping_reader(*arguments)
    if isinstance(kind, type) and issubclass(kind, Enum):
        return _enum_reader(kind)
    if dataclasses.is_dataclass(kind):
        return _dataclass_reader(cast(type, kind))
    raise TypeError(f"no JSON form for {kind}")


def _exactly(*kinds: type) -> Reader:
    def read(plain: Any, place: str) -> Any:
        if type(plain) not in kinds:
            raise CodecFault(f"{place}: {kinds[0].__name__} expected, found {plain!r:.60}")
        return kinds[0](plain)

    return read


def _read_time(plain: Any, place: str) -> datetime:
    try:
        time = datetime.fromisoformat(_SCALARS[str](plain, place))
    except ValueError as fault:
        raise CodecFault(f"{place}: not a time: {plain!r:.60}") from fault
    if time.tzinfo is None:
        raise CodecFault(f"{place}: a time without a zone: {plain!r:.60}")
    return time.astimezone(UTC)


def _read_bytes(plain: Any, place: str) -> bytes:
    try:
        return bytes.fromhex(_SCALARS[str](plain, place))
    except ValueError as fault:
        raise CodecFault(f"{place}: not hex digits: {plain!r:.60}") from fault


_SCALARS: dict[Any, Reader] = {
    str: _exactly(str),
    int: _exactly(int),
    bool: _exactly(bool),
    float: _exactly(float, int),
    datetime: _read_time,
    bytes: _read_bytes,
}


def _optional_reader(arguments: tuple[Any, ...]) -> Reader:
    (inner,) = (argument for argument in arguments if argument is not types.NoneType)

    def read(plain: Any, place: str) -> Any:
        return None if plain is None else _reader(inner)(plain, place)

    return read


def _sequence_reader(origin: Any, arguments: tuple[Any, ...]) -> Reader:
    if origin is tuple and (len(arguments) != 2 or arguments[1] is not Ellipsis):
        raise TypeError("only tuples of any length have a JSON form")

    def read(plain: Any, place: str) -> Any:
        if not isinstance(plain, list):
            raise CodecFault(f"{place}: an array expected, found {plain!r:.60}")
        item = _reader(arguments[0])
        found = origin(item(entry, f"{place}[{index}]") for index, entry in enumerate(plain))
        return _shared(found) if origin is frozenset and arguments[0] is int else found

    return read


@lru_cache(maxsize=1024)
def _shared(found: frozenset[int]) -> frozenset[int]:
    """One object for equal sets: a memory of 1024 slots has 8192 of them, few of them different, at 216 bytes each."""
    return found


def _mapping_reader(key_kind: Any, value_kind: Any) -> Reader:
    def read(plain: Any, place: str) -> Any:
        key, value = _reader(key_kind), _reader(value_kind)
        pairs = list(plain.items()) if isinstance(plain, dict) else plain
        if not isinstance(pairs, list) or not all(isinstance(pair, list | tuple) and len(pair) == 2 for pair in pairs):
            raise CodecFault(f"{place}: an object or pairs expected, found {plain!r:.60}")
        return {key(name, place): value(item, f"{place}[{name}]") for name, item in pairs}

    return read


def _enum_reader(kind: type[Enum]) -> Reader:
    def read(plain: Any, place: str) -> Any:
        try:
            return kind(plain)
        except ValueError as fault:
            raise CodecFault(f"{place}: no such {kind.__name__}: {plain!r:.60}") from fault

    return read


def _dataclass_reader(kind: type) -> Reader:
    hints = get_type_hints(kind)
    fields = [field for field in dataclasses.fields(kind) if field.init]
    required = {
        field.name
        for field in fields
        if field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING
    }

    def read(plain: Any, place: str) -> Any:
        if not isinstance(plain, dict):
            raise CodecFault(f"{place}: an object expected, found {plain!r:.60}")
        if missing := sorted(required - plain.keys()):
            raise CodecFault(f"{place}: {', '.join(missing)} missing")
        known = {field.name for field in fields} & plain.keys()
        return kind(**{name: _reader(hints[name])(plain[name], f"{place}.{name}") for name in known})

    return read
