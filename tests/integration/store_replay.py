"""A disk that loses power, made from a trace: what had been synced stays, of the rest anything may be missing or torn.

`read_trace` turns the output of `strace -f -y -xx` into operations; `Disk` replays them and, at any moment, gives what
a power cut could leave: of the writes since a file's last sync 40 % are dropped, 20 % lose some of their 512-byte
sectors. Creating, renaming and deleting take effect at once. The index `-shm` is memory and is left out.
"""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

__all__ = ["Disk", "Operation", "read_trace"]

SECTOR = 512
TRACED = "openat,pwrite64,write,fdatasync,fsync,ftruncate,unlink,rename"

_STRING = r'"((?:\\x[0-9a-f]{2})*)"'
_PATH = r"<((?:\\x[0-9a-f]{2})*)>"
_PATTERNS = {
    "open": re.compile(rf"openat\([^,]+, {_STRING}, ([A-Z_|]+)(?:, \d+)?\) = \d+"),
    "pwrite": re.compile(rf"pwrite64\(\d+{_PATH}, {_STRING}, \d+, (\d+)\) = (\d+)"),
    "write": re.compile(rf"write\((\d+){_PATH}, {_STRING}, \d+\) = (\d+)"),
    "sync": re.compile(rf"f(?:data)?sync\(\d+{_PATH}\) += 0"),
    "truncate": re.compile(rf"ftruncate\(\d+{_PATH}, (\d+)\) += 0"),
    "unlink": re.compile(rf"unlink\({_STRING}\) += 0"),
    "rename": re.compile(rf"rename\({_STRING}, {_STRING}\) += 0"),
}
_UNFINISHED = re.compile(r"(?P<pid>\d+) (?P<begin>.*) <unfinished \.\.\.>$")
_RESUMED = re.compile(r"(?P<pid>\d+) <\.\.\. \w+ resumed>(?P<end>.*)$")


@dataclass(frozen=True, slots=True)
class Operation:
    """`name` is a key of the patterns; `words` are its paths, numbers and bytes."""

    name: str
    words: tuple[bytes, ...]


def read_trace(text: str) -> Iterator[Operation]:
    """Operations in the order in which they ended."""
    begun: dict[str, str] = {}
    for line in text.splitlines():
        if match := _UNFINISHED.match(line):
            begun[match["pid"]] = match["begin"]
            continue
        whole = line.partition(" ")[2]
        if match := _RESUMED.match(line):
            whole = begun.pop(match["pid"], "") + match["end"]
        for name, pattern in _PATTERNS.items():
            if found := pattern.match(whole.strip()):
                yield Operation(name, tuple(_bytes(word) for word in found.groups()))
                break


def _bytes(word: str) -> bytes:
    return bytes.fromhex(word.replace("\\x", "")) if word.startswith("\\x") else word.encode()


@dataclass(slots=True)
class _File:
    synced: bytes = b""
    now: bytearray = field(default_factory=bytearray)
    pending: list[tuple[int, bytes]] = field(default_factory=list)  # offset and data; a cut has no data


class Disk:
    """The files of one folder."""

    def __init__(self, folder: Path) -> None:
        self._prefix = f"{folder}/".encode()
        self._files = {
            str(path.relative_to(folder)): _File(path.read_bytes(), bytearray(path.read_bytes()))
            for path in folder.rglob("*")
            if path.is_file() and not path.name.endswith("-shm")
        }

    def apply(self, operation: Operation) -> None:
        names = [self._name(word) for word in operation.words]
        match operation.name, names:
            case "open", [str(name), *_] if b"O_CREAT" in operation.words[1]:
                if name not in self._files or b"O_TRUNC" in operation.words[1]:
                    self._files[name] = _File()
            case "pwrite", [str(name), *_]:
                self._write(name, int(operation.words[2]), operation.words[1][: int(operation.words[3])])
            case "write", [_, str(name), *_]:
                self._write(name, len(self._files[name].now), operation.words[2][: int(operation.words[3])])
            case "sync", [str(name)] if name in self._files:
                file = self._files[name]
                file.synced, file.pending = bytes(file.now), []
            case "truncate", [str(name), *_]:
                size = int(operation.words[1])
                del self._files[name].now[size:]
                self._files[name].pending.append((size, b""))
            case "unlink", [str(name)]:
                self._files.pop(name, None)
            case "rename", [str(old), str(new)]:
                moved = [name for name in self._files if name == old or name.startswith(f"{old}/")]
                self._files |= {new + name.removeprefix(old): self._files.pop(name) for name in moved}

    def after_a_cut(self, folder: Path, chance: random.Random) -> None:
        """Write what may be left into an empty folder."""
        for name, file in self._files.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(_left(file, chance))

    def _name(self, word: bytes) -> str | None:
        if not word.startswith(self._prefix) or word.endswith((b"-shm", b"/reserve", b".lock")):
            return None
        return word.removeprefix(self._prefix).decode()

    def _write(self, name: str, offset: int, data: bytes) -> None:
        file = self._files.setdefault(name, _File())
        _put(file.now, offset, data)
        file.pending.append((offset, data))


def _put(content: bytearray, offset: int, data: bytes) -> None:
    content.extend(bytes(max(0, offset + len(data) - len(content))))
    content[offset : offset + len(data)] = data


def _left(file: _File, chance: random.Random) -> bytes:
    content = bytearray(file.synced)
    for offset, data in file.pending:
        fate = chance.random()
        if fate < 0.4:
            continue
        if not data:
            del content[offset:]
            continue
        torn = fate < 0.6
        for start in range(0, len(data), SECTOR):
            if not torn or chance.random() < 0.5:
                _put(content, offset + start, data[start : start + SECTOR])
    return bytes(content)
