"""The groups file: TOML with `[groups.NAME]`, `[kinds.NAME]` and `[labels.RECEIVER]` tables (TOML 1.0.0).

::

    [groups.berth-holders]
    slip-gate = { 1 = ["gate"], 3 = ["boat-hoist"] }     # position = outputs, by name or number
    [kinds.four-button]
    positions = ["1", "2", "3", "4", "1+2"]
    [labels.slip-gate]                                   # serial = the name it keeps, where that is not the holder
    0048231907 = "B 12"

The stdlib's parser tells no line numbers of what it has read, so they are looked up in the text afterwards; a
place that isn't found that way is reported as line 0.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from gateway.roster.cells import MAX_TEXT, Wrong, near_matches, show
from gateway.roster.findings import Findings
from gateway.roster.groups import GroupLine, Groups, KindLine, build_groups
from gateway.roster.names import ReceiverNames
from gateway.roster.serials import read_serial

__all__ = ["read_groups"]

MAX_BYTES = 1024 * 1024  # our choice: some thousand groups and labels for every slot of a large site
_AT_LINE = re.compile(r"\s*\(at line (\d+), column \d+\)")
_TABLE = re.compile(r"""\s*\[+\s*(?P<path>[^\]#]+?)\s*\]""")
_KEY = re.compile(r"""\s*(?P<path>[^=#\[\]{}]+?)\s*=""")
_UNREADABLE = Groups(given=True, readable=False)
_LABEL_FORM = 'write serial = name: 0048231907 = "Berth 12"'
_RECEIVER_FORM = 'write position = outputs in braces: slip-gate = { 1 = ["gate"], "1+2" = [2] }'


def read_groups(data: bytes, receivers: ReceiverNames, findings: Findings) -> Groups:
    """Everything in the file; all that is wrong with it goes to `findings`, with its line."""
    if len(data) > MAX_BYTES:
        remedy = "put rights that few people share into the roster's rights column"
        findings.fault(0, "", Wrong(f"a groups file larger than {MAX_BYTES >> 10} KiB", remedy))
        return _UNREADABLE
    try:
        text = data.decode("utf-8-sig")
        content = tomllib.loads(text.replace("\r\n", "\n"))
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        found = f"byte 0x{data[error.start]:02X} at offset {error.start}, which is not UTF-8"
        findings.fault(line, "", Wrong(found, "save the file in UTF-8"))
        return _UNREADABLE
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        findings.fault(*_syntax(error, text))
        return _UNREADABLE
    reading = _Reading(content, _lines(text), findings)
    groups = list(reading.groups())
    built = build_groups(groups, list(reading.kinds()), receivers, findings)
    return replace(built, labels=reading.labels())


def _syntax(error: Exception, text: str) -> tuple[int, str, Wrong]:
    message = str(error)
    at = _AT_LINE.search(message)
    line = int(at.group(1)) if at else text.count("\n") + 1
    remedy = 'correct this line; quote a combined position: { "1+2" = ["gate"] }'
    return line, "", Wrong(f"not TOML: {_AT_LINE.sub('', message).removesuffix(' (at end of document)')}", remedy)


def _lines(text: str) -> dict[tuple[str, ...], int]:
    """The line of each table and of each key at the start of a line, by its whole path."""
    lines: dict[tuple[str, ...], int] = {}
    table: tuple[str, ...] = ()
    for number, line in enumerate(text.splitlines(), 1):
        if header := _TABLE.match(line):
            table = path = _path(header["path"])
        elif key := _KEY.match(line):
            path = (*table, *_path(key["path"]))
        else:
            continue
        for length in range(1, len(path) + 1):
            lines.setdefault(path[:length], number)
    return lines


def _path(text: str) -> tuple[str, ...]:
    """The parts of a key, read by the same parser as the file."""
    try:
        found: Any = tomllib.loads(f"{text} = 0")
    except tomllib.TOMLDecodeError:
        return ()
    path: list[str] = []
    while isinstance(found, dict):
        name, found = next(iter(found.items()))
        path.append(name)
    return tuple(path)


class _Reading:
    """One pass over the parsed file."""

    def __init__(self, content: dict[str, Any], lines: dict[tuple[str, ...], int], findings: Findings) -> None:
        self._content = content
        self._lines = lines
        self._findings = findings
        for key in sorted(content.keys() - {"groups", "kinds", "labels"}):
            near = near_matches(key, ("groups", "kinds", "labels"))
            remedy = f"write [groups.NAME], [kinds.NAME] or [labels.RECEIVER]{near}"
            self._fault((key,), f"an unknown table {show(key)}", remedy)

    def _line(self, path: tuple[str, ...]) -> int:
        """The line of the nearest enclosing thing whose line is known."""
        while path and path not in self._lines:
            path = path[:-1]
        return self._lines.get(path, 0)

    def _fault(self, path: tuple[str, ...], found: str, remedy: str) -> None:
        self._findings.fault(self._line(path), ".".join(path), Wrong(found, remedy))

    def _table(self, path: tuple[str, ...], value: object, remedy: str) -> dict[str, Any]:
        if isinstance(value, dict):
            return value
        self._fault(path, f"{show(str(value))} where a table belongs", remedy)
        return {}

    def groups(self) -> Iterator[GroupLine]:
        groups = self._table(("groups",), self._content.get("groups", {}), "write [groups.NAME]")
        for group, receivers in groups.items():
            path = ("groups", group)
            yield GroupLine(self._line(path), ".".join(path), group)
            for receiver, positions in self._table(path, receivers, "write [groups.NAME]").items():
                yield from self._positions((*path, receiver), positions)

    def _positions(self, path: tuple[str, ...], value: object) -> Iterator[GroupLine]:
        for position, outputs in self._table(path, value, _RECEIVER_FORM).items():
            place = (*path, position)
            if not isinstance(outputs, list):
                self._fault(place, f"{show(str(outputs))} where a list of outputs belongs", _RECEIVER_FORM)
                continue
            if position == "":
                self._fault(place, 'the position ""', _RECEIVER_FORM)
                continue
            texts = self._texts(place, outputs, "write each output as a name in quotes or as its number")
            yield GroupLine(self._line(place), ".".join(place), path[1], path[2], position, texts)

    def kinds(self) -> Iterator[KindLine]:
        kinds = self._table(("kinds",), self._content.get("kinds", {}), "write [kinds.NAME]")
        for kind, value in kinds.items():
            path = ("kinds", kind)
            table = self._table(path, value, "write [kinds.NAME]")
            for key in sorted(table.keys() - {"positions"}):
                remedy = f"write positions{near_matches(key, ('positions',))}"
                self._fault((*path, key), f"an unknown key {show(key)}", remedy)
            positions = table.get("positions")
            if isinstance(positions, list):
                texts = self._texts((*path, "positions"), positions, 'write "1" to "8", or two together as "1+2"')
                yield KindLine(self._line((*path, "positions")), ".".join((*path, "positions")), kind, texts)
            else:
                self._fault(path, "no list of positions", 'write positions = ["1", "2"]')
                yield KindLine(self._line(path), ".".join(path), kind, ("1",))

    def labels(self) -> dict[str, dict[int, str]]:
        """Names by receiver, folded, and by serial."""
        found: dict[str, dict[int, str]] = {}
        labels = self._table(("labels",), self._content.get("labels", {}), "write [labels.RECEIVER]")
        for receiver, names in labels.items():
            path = ("labels", receiver)
            of_receiver = found.setdefault(receiver.casefold(), {})
            for text, name in self._table(path, names, _LABEL_FORM).items():
                serial = read_serial(text)
                if isinstance(serial, Wrong):
                    self._findings.fault(self._line((*path, text)), ".".join((*path, text)), serial)
                elif not isinstance(name, str) or len(name) > MAX_TEXT:
                    self._fault((*path, text), f"{show(str(name))} where a name belongs", _LABEL_FORM)
                else:
                    of_receiver[serial] = name
        return found

    def _texts(self, path: tuple[str, ...], values: list[Any], remedy: str) -> tuple[str, ...]:
        texts: list[str] = []
        for value in values:
            if isinstance(value, str) or (isinstance(value, int) and not isinstance(value, bool)):
                texts.append(str(value))
            else:
                self._fault(path, show(str(value)), remedy)
        return tuple(texts)
