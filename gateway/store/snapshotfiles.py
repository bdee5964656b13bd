"""Snapshots as files: one JSON document each, described by `snapshot.schema.json` and docs/snapshots.md.

A file is written whole, then renamed to its name; it is never written twice. Its `sha256` is taken over the
canonical JSON of all the rest, so that a file which was damaged or edited is not restored by mistake. The link
password has no place in it.
"""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path
from typing import Any

from gateway.domain.forgetting import Redaction
from gateway.domain.snapshot import Snapshot
from gateway.domain.transmitter import write_serial
from gateway.errors import NotFound, Refused
from gateway.store.codec import CodecFault, canonical, decode, encode, parse
from gateway.store.faults import from_os
from gateway.store.files import TEMPORARY, make_private_folder, replace_file, sync_folder, write_synced
from gateway.store.snapshotform import form_fault, sense_fault
from gateway.store.worker import Worker

__all__ = ["FORMAT", "VERSION", "SnapshotFiles", "read_document", "to_document"]

FORMAT = "gatepost-snapshot"
VERSION = 1

#: Time, a number within the second, the receiver's name: ids sort by time.
_ID = re.compile(r"\d{8}T\d{6}Z-\d{3,}-(?P<receiver>[A-Za-z0-9_.-]+)")


class SnapshotFiles:
    """`ports.Snapshots` in one folder."""

    def __init__(self, folder: Path, worker: Worker) -> None:
        self._folder = folder
        self._worker = worker

    async def write(self, snapshot: Snapshot) -> Path:
        """Durable when it returns. Raises StoreUnavailable, Refused with `snapshot-exists` or `snapshot-id`."""
        if not _ID.fullmatch(snapshot.id):
            raise Refused(
                f"{snapshot.id!r} can't be the id of a snapshot.",
                remedy="Give the receiver a name of letters, digits, dots, hyphens and underscores.",
                code="snapshot-id",
            )
        return await self._worker.run(lambda: self._write(snapshot))

    async def read(self, snapshot_id: str) -> Snapshot:
        """Raises NotFound, Refused with `snapshot-damaged` or `snapshot-too-new`, StoreUnavailable."""
        return await self._worker.run(lambda: self._read(snapshot_id))

    async def redact(self, redaction: Redaction) -> int:
        """Take names out of every file, and remove damaged ones; how many files. Raises StoreUnavailable.

        The sums of blocks stay those that the receiver stated, so a redacted block no longer has its own.
        """
        return await self._worker.run(lambda: self._redact(redaction))

    async def list(self, receiver: str | None = None) -> tuple[str, ...]:
        return await self._worker.run(lambda: self._list(receiver))

    async def export(self, snapshot_id: str) -> bytes:
        """The file's bytes, checked before they leave. Raises as `read`."""
        await self.read(snapshot_id)
        return await self._worker.run(lambda: self._content(snapshot_id))

    async def parse(self, content: bytes) -> Snapshot:
        """See `read_document`; in the files' thread, for a large one takes a while."""
        return await self._worker.run(lambda: read_document(content))

    async def remove(self, snapshot_id: str) -> None:
        """Raises StoreUnavailable."""
        await self._worker.run(lambda: self._remove(snapshot_id))

    def _write(self, snapshot: Snapshot) -> Path:
        path = self._folder / f"{snapshot.id}.json"
        content = _text(to_document(snapshot))
        try:
            make_private_folder(self._folder)
            if path.exists():
                raise Refused(
                    f"There is a snapshot {snapshot.id} already.", remedy="Take it again.", code="snapshot-exists"
                )
            part = path.with_name(path.name + TEMPORARY)
            write_synced(part, content)
            part.rename(path)
            sync_folder(self._folder)
        except OSError as fault:
            raise from_os(fault, path) from fault
        return path

    def _redact(self, redaction: Redaction) -> int:
        changed = 0
        for snapshot_id in self._list(None):
            path = self._folder / f"{snapshot_id}.json"
            try:
                before = parse(path.read_bytes().decode("ascii"))
                after = redaction(before)
                if after != before:
                    after["sha256"] = _checksum({key: each for key, each in after.items() if key != "sha256"})
                    replace_file(path, _text(after))
                    changed += 1
            except (CodecFault, UnicodeDecodeError, TypeError, AttributeError):
                path.unlink(missing_ok=True)  # damaged, so of no use any more, and nobody can tell what it holds
                changed += 1
            except OSError as fault:
                raise from_os(fault, path) from fault
        return changed

    def _remove(self, snapshot_id: str) -> None:
        path = self._folder / f"{snapshot_id}.json"
        if not _ID.fullmatch(snapshot_id):
            return
        try:
            path.unlink(missing_ok=True)
            sync_folder(self._folder)
        except OSError as fault:
            raise from_os(fault, path) from fault

    def _content(self, snapshot_id: str) -> bytes:
        path = self._folder / f"{snapshot_id}.json"
        try:
            if not _ID.fullmatch(snapshot_id):
                raise FileNotFoundError(snapshot_id)
            return path.read_bytes()
        except FileNotFoundError as fault:
            raise NotFound(
                f"There is no snapshot {snapshot_id}.", remedy="`gatepost snapshot list` shows the ids."
            ) from fault
        except OSError as fault:
            raise from_os(fault, path) from fault

    def _read(self, snapshot_id: str) -> Snapshot:
        content, path = self._content(snapshot_id), self._folder / f"{snapshot_id}.json"
        try:
            return _from_document(parse(content.decode("ascii")), snapshot_id)
        except (CodecFault, UnicodeDecodeError, KeyError, TypeError) as fault:
            raise Refused(
                f"The snapshot {snapshot_id} is damaged or was edited ({_told(fault)}).",
                remedy=f"Put {path} back from a copy, or choose another snapshot.",
                code="snapshot-damaged",
            ) from fault

    def _list(self, receiver: str | None) -> tuple[str, ...]:
        try:
            names = [path.stem for path in self._folder.glob("*.json")]
        except OSError as fault:
            raise from_os(fault, self._folder) from fault
        found = [name for name in names if (match := _ID.fullmatch(name)) and receiver in (None, match["receiver"])]
        return tuple(sorted(found, reverse=True))


def _text(document: dict[str, Any]) -> bytes:
    return json.dumps(document, indent=1, ensure_ascii=True).encode("ascii") + b"\n"


def to_document(snapshot: Snapshot) -> dict[str, Any]:
    """The JSON document of a snapshot. Serials are ten decimal digits, as everywhere that people read them."""
    plain = encode(snapshot)
    for slot in plain["slots"]:
        slot["serial"] = write_serial(slot["serial"])
    document = {"format": FORMAT, "version": VERSION, **plain}
    return {**document, "sha256": _checksum(document)}


def read_document(content: bytes) -> Snapshot:
    """A snapshot from bytes that came from outside, held to the schema, its own sense and its checksum.

    Raises Refused with `snapshot-damaged` or `snapshot-too-new`.
    """
    try:
        document = parse(content.decode("utf-8"))
        if isinstance(document, dict) and document.get("version") == VERSION and (fault := form_fault(document)):
            raise CodecFault(fault)
        snapshot = _from_document(document, document["id"] if isinstance(document, dict) else "")
        if sense := sense_fault(snapshot):
            raise CodecFault(sense)
    except (CodecFault, UnicodeDecodeError, KeyError, TypeError) as fault:
        raise Refused(
            f"This is not a snapshot that can be used ({_told(fault)}).",
            remedy="Take the file anew from where it was exported; docs/snapshots.md describes it.",
            code="snapshot-damaged",
        ) from fault
    return snapshot


def _told(fault: Exception) -> str:
    """What is wrong with a file, in words of ours where the language has only its own."""
    if isinstance(fault, UnicodeDecodeError):
        return "it is not UTF-8 text"
    if isinstance(fault, KeyError):
        return f"{fault.args[0]}: this key is needed and missing"
    return "its parts don't fit together" if isinstance(fault, TypeError) else str(fault)


def _from_document(document: Any, snapshot_id: str) -> Snapshot:
    if not isinstance(document, dict) or document.get("format") != FORMAT:
        raise CodecFault(f"no document of the format {FORMAT}")
    if document["version"] != VERSION:
        raise Refused(
            f"The snapshot {snapshot_id} has version {document['version']!r:.20}; this program reads {VERSION}.",
            remedy="Read it with the newer gatepost that wrote it.",
            code="snapshot-too-new",
        )
    if document.pop("sha256", None) != _checksum(document):
        raise CodecFault("its checksum does not fit")
    for slot in document["slots"]:
        slot["serial"] = _serial(slot["serial"])
    snapshot = decode(Snapshot, document)
    if snapshot.id != snapshot_id:
        raise CodecFault(f"it is {snapshot.id} under another name")
    return snapshot


def _serial(text: Any) -> int:
    if not isinstance(text, str) or not re.fullmatch(r"[0-9]{10}", text):
        raise CodecFault(f"not a serial: {text!r:.20}")
    return int(text)


def _checksum(document: dict[str, Any]) -> str:
    return hashlib.sha256(canonical(document).encode("ascii")).hexdigest()
