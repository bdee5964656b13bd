"""Receipts as files, so that they outlive the database and each can be handed out as it is.

::

    receipts/  00000001-slip-gate.json ...     one signed receipt each, never written twice
               keys/<key id>.pem               every public key that ever signed one

The number rises by one over all receivers and each receipt states the digest of the one before it, so that one taken
from the middle is missed. A damaged file is shown as damaged, and the chain goes on from the newest that can be read.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import re
from datetime import datetime
from pathlib import Path
from typing import Any

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from gateway.domain.receipt import Receipt
from gateway.errors import NotFound, Refused
from gateway.ports import KeptReceipt, ReceiptKey
from gateway.store.faults import from_os
from gateway.store.files import TEMPORARY, make_private_folder, replace_file, sync_folder, write_synced
from gateway.store.receiptform import digest_of, parse_receipt, proves_sync, to_document, verify
from gateway.store.signingkey import SigningKey, key_id, parse_public_key, public_pem
from gateway.store.worker import Worker

__all__ = ["KEPT_RECEIPTS", "ReceiptFiles"]

#: How many are kept at most, whatever their age; our choice: some 80 MB on a card with blocks of 4 kB.
KEPT_RECEIPTS = 20_000
_NAME = re.compile(r"(?P<number>[0-9]{8,})-(?P<receiver>[A-Za-z0-9_.-]+)")


class ReceiptFiles:
    """`ports.Receipts` in one folder. `open` before anything else."""

    def __init__(self, folder: Path, worker: Worker, key: SigningKey) -> None:
        self._folder = folder
        self._worker = worker
        self._key = key
        self._adding = asyncio.Lock()
        self._names: list[str] = []  # rising by number
        self._public: dict[str, Ed25519PublicKey] = {key.id: key.public}
        self._newest = 0
        self._previous = ""

    async def open(self) -> None:
        """Read what is there, and put the public key beside it. Raises StoreUnavailable."""
        await self._worker.run(self._open)

    async def add(self, receipt: Receipt) -> KeptReceipt:
        async with self._adding:
            return await self._worker.run(lambda: self._add(receipt))

    async def newest(self, *, receiver: str | None = None, limit: int = 50, before: int = 0) -> tuple[KeptReceipt, ...]:
        wanted = [
            name
            for name in reversed(self._names)
            if (before <= 0 or _number(name) < before) and receiver in (None, _receiver(name))
        ][: max(0, limit)]
        return await self._worker.run(lambda: tuple(map(self._read, wanted)))

    async def last_before(self, receiver: str, time: datetime) -> KeptReceipt | None:
        names = [name for name in self._names if _receiver(name) == receiver]
        return await self._worker.run(lambda: self._last_before(names, time))

    async def load(self, receipt_id: str) -> KeptReceipt:
        if receipt_id not in self._names:
            raise NotFound(f"There is no receipt {receipt_id}.", remedy="`gatepost receipt list` shows the ids.")
        return await self._worker.run(lambda: self._read(receipt_id))

    async def keys(self) -> tuple[ReceiptKey, ...]:
        known = sorted(self._public.items(), key=lambda item: (item[0] != self._key.id, item[0]))
        return tuple(ReceiptKey(name, public_pem(key), name == self._key.id) for name, key in known)

    async def prune(self, before: datetime) -> int:
        async with self._adding:
            return await self._worker.run(lambda: self._prune(before))

    # --- in the files' thread ---

    def _open(self) -> None:
        keys = self._folder / "keys"
        try:
            make_private_folder(self._folder)
            make_private_folder(keys)
            for part in (*self._folder.glob(f"*{TEMPORARY}"), *keys.glob(f"*{TEMPORARY}")):
                part.unlink()
            mine = keys / f"{self._key.id}.pem"
            if not mine.exists():
                replace_file(mine, public_pem(self._key.public).encode("ascii"))
            for path in keys.glob("*.pem"):
                with contextlib.suppress(ValueError):  # also UnicodeDecodeError
                    public = parse_public_key(path.read_text("ascii"))
                    self._public[key_id(public)] = public
            stems = [path.stem for path in self._folder.glob("*.json")]
        except OSError as fault:
            raise from_os(fault, self._folder) from fault
        self._names = sorted(filter(_NAME.fullmatch, stems), key=_number)
        self._newest = _number(self._names[-1]) if self._names else 0
        readable = (self._read(name) for name in reversed(self._names))
        last = next((kept for kept in readable if not kept.fault), None)
        self._previous = digest_of(last.document["receipt"]) if last else ""

    def _add(self, receipt: Receipt) -> KeptReceipt:
        number = self._newest + 1
        name = f"{number:08d}-{receipt.receiver}"
        document = to_document(receipt, number=number, previous=self._previous, signer=self._key)
        path = self._folder / f"{name}.json"
        part = path.with_name(path.name + TEMPORARY)
        try:
            write_synced(part, _text(document))
            part.rename(path)
            sync_folder(self._folder)
        except OSError as fault:
            raise from_os(fault, path) from fault
        self._names.append(name)
        self._newest, self._previous = number, digest_of(document["receipt"])
        return KeptReceipt(name, number, receipt.receiver, document)

    def _read(self, name: str) -> KeptReceipt:
        document: dict[str, Any] = {}
        fault = ""
        try:
            document = parse_receipt((self._folder / f"{name}.json").read_bytes())
            verify(document, tuple(self._public.values()))
            if f"{document['receipt']['number']:08d}-{document['receipt']['receiver']['name']}" != name:
                fault = "It stands under another name than its own."
        except Refused as refusal:
            fault = refusal.message
        except OSError as error:
            fault = f"Its file can't be read ({error.strerror})."
        return KeptReceipt(name, _number(name), _receiver(name), document, fault)

    def _last_before(self, names: list[str], time: datetime) -> KeptReceipt | None:
        """Times rise with numbers, so a few files are read and not all."""
        low, high, found = 0, len(names), -1
        while low < high:
            middle = (low + high) // 2
            place, kept = self._timed(names, middle, low)
            if kept is None:
                low = middle + 1
            elif _time(kept) < time:
                found, low = place, middle + 1
            else:
                high = place
        return self._equal_at_or_before(names, found)

    def _equal_at_or_before(self, names: list[str], place: int) -> KeptReceipt | None:
        """A restore or a revocation may have left it unequal; the sync before tells when it was equal last."""
        for name in reversed(names[: place + 1]):
            kept = self._read(name)
            known = not kept.fault and kept.document["receipt"]["clock"]["trusted"]
            if known and proves_sync(kept.document["receipt"]):
                return kept
        return None

    def _timed(self, names: list[str], place: int, low: int) -> tuple[int, KeptReceipt | None]:
        """The nearest one at or before a place whose time is known, and where it stands."""
        for back in range(place, low - 1, -1):
            kept = self._read(names[back])
            if not kept.fault and kept.document["receipt"]["clock"]["trusted"]:
                return back, kept
        return low, None

    def _prune(self, before: datetime) -> int:
        newest = {_receiver(name): name for name in self._names}
        spare = self._names[: max(0, len(self._names) - KEPT_RECEIPTS)]
        old = dict.fromkeys([*spare, *self._older(before)])
        gone = [name for name in old if newest[_receiver(name)] != name]
        try:
            for name in gone:
                (self._folder / f"{name}.json").unlink(missing_ok=True)
            if gone:
                sync_folder(self._folder)
        except OSError as fault:
            raise from_os(fault, self._folder) from fault
        self._names = [name for name in self._names if name not in set(gone)]
        return len(gone)

    def _older(self, before: datetime) -> list[str]:
        """All up to the newest that was made before; one whose time isn't known is as old as the next whose is."""
        older: list[str] = []
        unknown: list[str] = []
        for name in self._names:
            kept = self._read(name)
            if kept.fault or not kept.document["receipt"]["clock"]["trusted"]:
                unknown.append(name)
            elif _time(kept) < before:
                older += [*unknown, name]
                unknown = []
            else:
                break
        return older


def _number(name: str) -> int:
    return int(name.partition("-")[0])


def _receiver(name: str) -> str:
    return name.partition("-")[2]


def _time(kept: KeptReceipt) -> datetime:
    return datetime.fromisoformat(kept.document["receipt"]["clock"]["time"])


def _text(document: dict[str, Any]) -> bytes:
    return json.dumps(document, indent=1, ensure_ascii=False).encode("utf-8") + b"\n"
