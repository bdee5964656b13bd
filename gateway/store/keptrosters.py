"""The roster that a gateway keeps itself, as numbered files beside the database.

One folder per revision, `local-roster/<six digits>`; in it `roster.csv` and `groups.toml` as they were checked, and
`about.json` with who, when, what and the checksums. A folder appears whole or not at all, so a power cut leaves the
revision before. When the newest isn't as it was written nothing older stands in for it, for that would give back what
was taken away since; its number is never given again. Files of the newest revisions stay; of older ones only what
`about.json` says, and of the oldest nothing.
"""

from __future__ import annotations

import asyncio
import hashlib
import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from gateway.domain.forgetting import Redaction
from gateway.errors import StoreDamaged
from gateway.ports import RosterPair, RosterRevision
from gateway.store.codec import CodecFault, canonical, parse
from gateway.store.faults import from_os
from gateway.store.files import TEMPORARY, make_private_folder, replace_file, sync_folder, write_synced

__all__ = ["FOLDER_NAME", "KEPT_FILES", "KEPT_REVISIONS", "KeptRosterFiles"]

FOLDER_NAME = "local-roster"
#: Our choice: files of a large roster take half a megabyte each, the rest some hundred bytes.
KEPT_FILES = 100
KEPT_REVISIONS = 2000
_NAME = re.compile(r"\d{6,}")


class KeptRosterFiles:
    """`ports.KeptRosters`. One task at a time edits; readers may come at any time."""

    def __init__(self, state: Path) -> None:
        self._folder = state / FOLDER_NAME

    async def newest(self) -> tuple[RosterRevision, RosterPair] | None:
        """None before the first. Raises StoreUnavailable, and StoreDamaged when it isn't as it was written."""
        return await asyncio.to_thread(self._newest)

    async def keep(self, pair: RosterPair, revision: RosterRevision) -> RosterRevision:
        """Durable when it returns. Raises StoreUnavailable. Cancelled, it is still whole or not there."""
        return await asyncio.to_thread(self._keep, pair, revision)

    async def revisions(self, *, before: int = 0, limit: int = 100) -> tuple[RosterRevision, ...]:
        """Newest first. Raises StoreUnavailable."""
        return await asyncio.to_thread(self._revisions, before, limit)

    async def load(self, number: int) -> RosterPair | None:
        """None when the files are no longer kept or damaged. Raises StoreUnavailable."""
        return await asyncio.to_thread(self._load, number)

    async def forget(self, redaction: Redaction, holds: Callable[[bytes], bool]) -> int:
        """Take names out of what was said of each edit, and remove the files of earlier revisions that hold them.

        How many revisions. Raises StoreUnavailable.
        """
        return await asyncio.to_thread(self._forget, redaction, holds)

    def _forget(self, redaction: Redaction, holds: Callable[[bytes], bool]) -> int:
        changed = 0
        try:
            for number in self._numbers():
                about = self._about(number)
                words = redaction(about["words"]) if about else []
                told = about is not None and words != about["words"]
                if about is not None and told:
                    replace_file(self._path(number) / "about.json", canonical({**about, "words": words}).encode())
                gone = self._drop_files(number, holds) if number != self._numbers()[-1] else False
                changed += told or gone
        except OSError as fault:
            raise from_os(fault, self._folder) from fault
        return changed

    def _drop_files(self, number: int, holds: Callable[[bytes], bool]) -> bool:
        paths = [path for name in ("roster.csv", "groups.toml") if (path := self._path(number) / name).exists()]
        gone = any(holds(path.read_bytes()) for path in paths)
        for path in paths if gone else ():
            path.unlink()
        return gone

    def _newest(self) -> tuple[RosterRevision, RosterPair] | None:
        try:
            numbers = self._numbers()
            if not numbers:
                return None
            about = self._about(numbers[-1])
            pair = self._pair(numbers[-1], about)
        except OSError as fault:
            raise from_os(fault, self._folder) from fault
        if about is None or pair is None:
            raise StoreDamaged(
                f"Revision {numbers[-1]} of the roster that this gateway keeps is damaged.",
                remedy="The roster in force stays; a new start mends it from that one, and so does an import.",
            )
        return _revision(numbers[-1], about), pair

    def _keep(self, pair: RosterPair, revision: RosterRevision) -> RosterRevision:
        try:
            make_private_folder(self._folder)
            for part in self._folder.glob(f"*{TEMPORARY}"):
                shutil.rmtree(part, ignore_errors=True)
            numbers = self._numbers()
            kept = replace(revision, number=(numbers[-1] if numbers else 0) + 1)
            self._write(self._folder / f"{kept.number:06d}", pair, kept)
            self._prune([*numbers, kept.number])
        except OSError as fault:
            raise from_os(fault, self._folder) from fault
        return kept

    def _write(self, folder: Path, pair: RosterPair, revision: RosterRevision) -> None:
        part = folder.with_name(folder.name + TEMPORARY)
        part.mkdir(mode=0o700)
        about = {
            "time": revision.time.isoformat(),
            "who": revision.who,
            "how": revision.how,
            "words": list(revision.words),
            "digest": revision.digest,
            "roster": _sha256(pair.roster),
            "groups": None if pair.groups is None else _sha256(pair.groups),
        }
        write_synced(part / "roster.csv", pair.roster)
        if pair.groups is not None:
            write_synced(part / "groups.toml", pair.groups)
        write_synced(part / "about.json", canonical(about).encode())
        sync_folder(part)
        part.rename(folder)
        sync_folder(self._folder)

    def _prune(self, numbers: list[int]) -> None:
        for number in numbers[:-KEPT_REVISIONS]:
            shutil.rmtree(self._path(number), ignore_errors=True)
        for number in numbers[-KEPT_REVISIONS:-KEPT_FILES]:
            for name in ("roster.csv", "groups.toml"):
                (self._path(number) / name).unlink(missing_ok=True)

    def _revisions(self, before: int, limit: int) -> tuple[RosterRevision, ...]:
        try:
            found: list[RosterRevision] = []
            for number in reversed(self._numbers()):
                if len(found) == limit:
                    break
                if (not before or number < before) and (about := self._about(number)) is not None:
                    found.append(_revision(number, about))
            return tuple(found)
        except OSError as fault:
            raise from_os(fault, self._folder) from fault

    def _load(self, number: int) -> RosterPair | None:
        try:
            return self._pair(number, self._about(number))
        except OSError as fault:
            raise from_os(fault, self._folder) from fault

    def _path(self, number: int) -> Path:
        return self._folder / f"{number:06d}"

    def _about(self, number: int) -> dict[str, Any] | None:
        try:
            about = parse((self._path(number) / "about.json").read_text(encoding="ascii"))
            _revision(number, about)
        except (FileNotFoundError, UnicodeDecodeError, CodecFault, KeyError, TypeError, ValueError):
            return None
        return dict(about)

    def _pair(self, number: int, about: dict[str, Any] | None) -> RosterPair | None:
        if about is None:
            return None
        folder = self._path(number)
        try:
            roster = (folder / "roster.csv").read_bytes()
            groups = None if about.get("groups") is None else (folder / "groups.toml").read_bytes()
        except FileNotFoundError:
            return None
        sums = (_sha256(roster), None if groups is None else _sha256(groups))
        return RosterPair(roster, groups) if sums == (about.get("roster"), about.get("groups")) else None

    def _numbers(self) -> list[int]:
        """Rising."""
        if not self._folder.exists():
            return []
        return sorted(int(entry.name) for entry in self._folder.iterdir() if _NAME.fullmatch(entry.name))


def _revision(number: int, about: Any) -> RosterRevision:
    return RosterRevision(
        number=number,
        time=datetime.fromisoformat(about["time"]),
        who=str(about["who"]),
        how=str(about["how"]),
        words=tuple(str(word) for word in about["words"]),
        digest=str(about["digest"]),
    )


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
