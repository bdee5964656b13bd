"""Whether the program's files are those that were installed, by the package's own record.

The installer writes a RECORD beside the package with each file's SHA-256 ("Recording installed projects", PyPA
specifications). A card that fails, or a hand that changed a file, shows here; whoever may write the files may write the
record too, so this is no proof against an intruder. A program that runs from a working copy has no such record.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from importlib.metadata import Distribution, PackageNotFoundError, PackagePath, distribution
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
    files = [file for file in found.files or () if file.hash is not None]
    if not any(file.parts[0] == package for file in files):
        return Installation()
    changed, missing = [], []
    for file in files:
        content = _content(file)
        if content is None:
            missing.append(str(file))
        elif not _fits(file, content):
            changed.append(str(file))
    return Installation(len(files), tuple(changed), tuple(missing), tuple(_unknown(found, package, files)))


def _content(file: PackagePath) -> bytes | None:
    try:
        return Path(str(file.locate())).read_bytes()
    except OSError:
        return None


def _fits(file: PackagePath, content: bytes) -> bool:
    """RECORD writes sums as urlsafe base64 without padding; a method that isn't known here proves nothing."""
    assert file.hash is not None
    if file.hash.mode not in _SUMS:
        return False
    digest = hashlib.new(file.hash.mode, content).digest()
    return base64.urlsafe_b64encode(digest).rstrip(b"=").decode() == file.hash.value


def _unknown(found: Distribution, package: str, files: Iterable[PackagePath]) -> Iterable[str]:
    known = {str(file) for file in files}
    folder = Path(str(found.locate_file(package)))
    for path in sorted(folder.rglob("*")):
        name = str(Path(package) / path.relative_to(folder))
        if path.suffix in _CODE and name not in known:
            yield name
