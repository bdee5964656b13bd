"""The bytes of accepted rosters, so that a restart has the roster in force while its source can't be reached.

One folder per roster, `rosters/<six digits>-<digest>`, higher digits are newer; in it `roster` and `groups` as
they were fetched and `about.json` with their checksums. The last ten are kept.
"""

from __future__ import annotations

import hashlib
import re
import shutil
from collections.abc import Callable
from pathlib import Path

from gateway.ports import Fetched
from gateway.store.codec import CodecFault, canonical, parse
from gateway.store.faults import from_os
from gateway.store.files import TEMPORARY, make_private_folder, sync_folder, write_synced
from gateway.store.worker import Worker

__all__ = ["KEPT_ROSTERS", "RosterFiles"]

KEPT_ROSTERS = 10
_NAME = re.compile(r"(?P<number>\d{6,})-(?P<digest>[0-9A-Za-z]+)")
_DIGEST = re.compile(r"[0-9A-Za-z]{1,128}")


class RosterFiles:
    """`ports.RosterArchive`."""

    def __init__(self, folder: Path, worker: Worker) -> None:
        self._folder = folder
        self._worker = worker

    async def keep(self, digest: str, fetched: Fetched) -> None:
        """Durable when it returns. Raises StoreUnavailable, ValueError for a digest that is no file name."""
        if not _DIGEST.fullmatch(digest):
            raise ValueError(f"not a digest: {digest!r:.80}")
        await self._worker.run(lambda: self._keep(digest, fetched))

    async def load(self, digest: str) -> Fetched | None:
        """The bytes behind a digest; None when they are not kept, or not as they were written."""
        return await self._worker.run(lambda: self._load(digest))

    async def forget(self, holds: Callable[[bytes], bool], *, keep: str) -> int:
        """Remove the rosters that hold what is looked for, but for the one of digest `keep`; how many.

        Raises StoreUnavailable.
        """
        return await self._worker.run(lambda: self._forget(holds, keep))

    def _forget(self, holds: Callable[[bytes], bool], keep: str) -> int:
        removed = 0
        try:
            for folder in self._kept():
                contents = (path.read_bytes() for path in (folder / "roster", folder / "groups") if path.exists())
                if not folder.name.endswith(f"-{keep}") and any(map(holds, contents)):
                    shutil.rmtree(folder)
                    removed += 1
            if removed:
                sync_folder(self._folder)
        except OSError as fault:
            raise from_os(fault, self._folder) from fault
        return removed

    def _keep(self, digest: str, fetched: Fetched) -> None:
        try:
            make_private_folder(self._folder)
            kept = self._kept()
            if kept and kept[-1].name.endswith(f"-{digest}") and self._read(kept[-1]) == fetched:
                return
            newest = int(kept[-1].name.split("-")[0]) if kept else 0
            self._write(self._folder / f"{newest + 1:06d}-{digest}", fetched)
            earlier = [folder for folder in kept if folder.name.endswith(f"-{digest}")]
            others = [folder for folder in self._kept() if folder not in earlier]
            for old in [*earlier, *others[:-KEPT_ROSTERS]]:
                shutil.rmtree(old, ignore_errors=True)
        except OSError as fault:
            raise from_os(fault, self._folder) from fault

    def _write(self, folder: Path, fetched: Fetched) -> None:
        part = folder.with_name(folder.name + TEMPORARY)
        shutil.rmtree(part, ignore_errors=True)
        part.mkdir(mode=0o700)
        about = {"tag": fetched.tag, "roster": _sha256(fetched.roster), "groups": None}
        write_synced(part / "roster", fetched.roster)
        if fetched.groups is not None:
            about["groups"] = _sha256(fetched.groups)
            write_synced(part / "groups", fetched.groups)
        write_synced(part / "about.json", canonical(about).encode())
        sync_folder(part)
        part.rename(folder)
        sync_folder(self._folder)

    def _load(self, digest: str) -> Fetched | None:
        try:
            found = (self._read(folder) for folder in reversed(self._kept()) if folder.name.endswith(f"-{digest}"))
            return next((fetched for fetched in found if fetched is not None), None)
        except OSError as fault:
            raise from_os(fault, self._folder) from fault

    def _read(self, folder: Path) -> Fetched | None:
        try:
            about = parse((folder / "about.json").read_text(encoding="ascii"))
            roster = (folder / "roster").read_bytes()
            groups = None if about["groups"] is None else (folder / "groups").read_bytes()
            sums = (_sha256(roster), None if groups is None else _sha256(groups))
            return Fetched(roster, groups, about["tag"]) if sums == (about["roster"], about["groups"]) else None
        except (FileNotFoundError, UnicodeDecodeError, CodecFault, KeyError, TypeError):
            return None

    def _kept(self) -> list[Path]:
        """Oldest first."""
        if not self._folder.exists():
            return []
        found = [entry for entry in self._folder.iterdir() if _NAME.fullmatch(entry.name)]
        return sorted(found, key=lambda entry: int(entry.name.split("-")[0]))


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()
