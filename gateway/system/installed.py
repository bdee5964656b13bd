"""Whether the program's files are those that were installed, by the package's own record.

The installer writes a RECORD beside the package with each file's SHA-256 ("Recording installed projects", PyPA
specifications). A card that fails, or a hand that changed a file, shows here; whoever may write the files may write the
record too, so this is no proof against an intruder. A program that runs from a working copy has no such record. It is
read as it stands: from Python 3.12 on `Distribution.files` leaves out files that are gone.
"""

from __future__ import annotations

import base64
import csv
import hashlib
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from pathlib import Path

__all__ = ["Installation", "look_at_installation"]

_CODE = (".py", ".so")
_SUMS = ("sha256", "sha384", "sha512")


@dataclass(frozen=True, slots=True)
class Installation:
    """`recorded` is how many files the record names with a sum; 0 for a working copy. The rest are names of files:
    with other content, gone or unreadable, and code in the package's folder that the record lacks."""

    recorded: int = 0
    changed: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    added: tuple[str, ...] = ()

    @property
    def faulty(self) -> tuple[str, ...]:
        """All of them, in the order of their names."""
        return tuple(sorted({*self.changed, *self.missing, *self.added}))


def look_at_installation(name: str = "gatepost", package: str = "gateway") -> Installation:
    """Read every file of the distribution `name`, whose code is in the folder `package`."""
    try:
        found = distribution(name)
    except PackageNotFoundError:
        return Installation()
    sums = {
        row[0]: row[1] for row in csv.reader((found.read_text("RECORD") or "").splitlines()) if len(row) > 1 and row[1]
    }
    if not any(name.startswith(f"{package}/") for name in sums):
        return Installation()
    changed, missing = [], []
    for file, recorded in sums.items():
        content = _content(found, file)
        if content is None:
            missing.append(file)
        elif not _fits(recorded, content):
            changed.append(file)
    return Installation(len(sums), tuple(changed), tuple(missing), tuple(_unknown(found, package, sums)))


def _content(found: Distribution, name: str) -> bytes | None:
    try:
        return Path(str(found.locate_file(name))).read_bytes()
    except OSError:
        return None


def _fits(recorded: str, content: bytes) -> bool:
    """RECORD writes sums as urlsafe base64 without padding; a method that isn't known here proves nothing."""
    method, _, value = recorded.partition("=")
    if method not in _SUMS:
        return False
    return base64.urlsafe_b64encode(hashlib.new(method, content).digest()).rstrip(b"=").decode() == value


def _unknown(found: Distribution, package: str, known: Collection[str]) -> Iterator[str]:
    folder = Path(str(found.locate_file(package)))
    for path in sorted(folder.rglob("*")):
        name = str(Path(package) / path.relative_to(folder))
        if path.suffix in _CODE and name not in known:
            yield name
