"""The way in: everything in the state folder, opened, checked and told about.

::

    state/               0700, files 0600
      state.lock         who has it
      ledger             revocations, tokens, accepted roster, epochs; synced before the database
      reserve            room for the ledger on the day that the disk is full
      gatepost.db        SQLite with -wal and -shm beside it
      receipt.key        the Ed25519 key that signs receipts
      snapshots/  rosters/  receipts/

A database that can't be read is set aside as `gatepost.db.damaged-N` and a new one begun: better to start with
an empty mirror, which the receivers fill again, than not to start. The ledger outlives it.
"""

from __future__ import annotations

import contextlib
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from pathlib import Path

from gateway.clock import Clock
from gateway.domain.events import EventDraft, EventName
from gateway.errors import StoreDamaged, StoreError
from gateway.ports import Commit, Trust
from gateway.store.audit import SqliteAudit
from gateway.store.database import Database, damage_mark
from gateway.store.documents import SqliteDocuments
from gateway.store.epoch import Life, begin_life, renew_mark
from gateway.store.faults import from_os
from gateway.store.files import make_private_folder, remove_set_aside, set_aside_name, sweep, sync_folder
from gateway.store.history import SqliteHistory
from gateway.store.journal import SqliteJournal
from gateway.store.ladder import shipped_steps
from gateway.store.ledger import LedgerFile, missing_ledger
from gateway.store.mirrors import SqliteMirrors
from gateway.store.moments import Moments
from gateway.store.outbox import SqliteOutbox
from gateway.store.personaldata import StoredPersonalData
from gateway.store.plans import SqlitePlans
from gateway.store.proofs import SqliteProofs, SqliteRuns
from gateway.store.receiptfiles import ReceiptFiles
from gateway.store.replays import SqliteReplays
from gateway.store.reserve import RESERVE_BYTES, Reserve
from gateway.store.rosterbook import SqliteRosterBook
from gateway.store.rosterfiles import RosterFiles
from gateway.store.signingkey import SigningKey, load_or_make_key
from gateway.store.snapshotfiles import SnapshotFiles
from gateway.store.statelock import StateLock
from gateway.store.tokens import LedgerTokens
from gateway.store.worker import Worker

__all__ = ["DATABASE_NAME", "LEDGER_NAME", "Store", "open_store"]

DATABASE_NAME = "gatepost.db"
LEDGER_NAME = "ledger"
KEY_NAME = "receipt.key"


@dataclass(frozen=True, slots=True)
class Store:
    """Everything that lasts. `notices` are sentences for people about what was found wrong at opening."""

    folder: Path
    journal: SqliteJournal
    mirrors: SqliteMirrors
    plans: SqlitePlans
    proofs: SqliteProofs
    runs: SqliteRuns
    documents: SqliteDocuments
    outbox: SqliteOutbox
    history: SqliteHistory
    roster_book: SqliteRosterBook
    ledger: LedgerFile
    tokens: LedgerTokens
    audit: SqliteAudit
    replays: SqliteReplays
    snapshots: SnapshotFiles
    receipts: ReceiptFiles
    roster_files: RosterFiles
    personal: StoredPersonalData
    notices: tuple[str, ...]
    _database: Database = field(repr=False)
    _files: Worker = field(repr=False)
    _lock: StateLock = field(repr=False)

    async def alive(self) -> None:
        """Return when every thread of the store has done something: for the watchdog. Never raises for a full disk."""
        await self._database.alive()
        await self._files.run(lambda: None)

    async def remove_set_aside(self, before: datetime) -> int:
        """Delete what was set aside as damaged and last written before that: it holds people's presses. How many files.

        Raises StoreUnavailable. Call it only while the clock is trusted.
        """
        return await self._files.run(partial(_remove_set_aside, self.folder, before.timestamp()))

    async def close(self) -> None:
        """Finish what was handed over, note the orderly end, let go of the folder. May be called twice."""
        with contextlib.suppress(StoreError):
            await self.outbox.flush()
            await renew_mark(self._database, self.ledger, self.journal.newest.epoch)
        await self._files.close()
        await self._database.close()
        await self.ledger.close()
        self._lock.release()


async def open_store(
    folder: Path,
    clock: Clock,
    trust: Trust,
    *,
    boot_id: str,
    reserve_bytes: int = RESERVE_BYTES,
    signing_key: SigningKey | None = None,
) -> Store:
    """Open or create the state folder. Without a `signing_key` receipts are signed with the folder's own.

    Raises Refused with `state-in-use`, StoreTooNew, StoreUnavailable. A damaged database or ledger is no
    error: the journal then begins a new epoch with `journal.restarted`, and `notices` say what is lost.
    """
    lock = StateLock(folder / "state.lock")
    _prepare(folder, lock)
    async with contextlib.AsyncExitStack() as undo:
        undo.callback(lock.release)
        had_ledger = (folder / LEDGER_NAME).exists()
        ledger = LedgerFile(folder / LEDGER_NAME, Reserve(folder / "reserve", reserve_bytes))
        undo.push_async_callback(ledger.close)
        notices = list(await ledger.open())
        begin = _Beginning(folder / DATABASE_NAME, ledger, clock, trust, boot_id)
        parts, restarted, aside = await begin.parts()
        undo.push_async_callback(parts.database.close)
        if restarted:
            data = {"reason": restarted, "set_aside": aside}
            await parts.journal.commit(Commit(events=(EventDraft(EventName.JOURNAL_RESTARTED, data=data),)))
            notices.append(_restart_notice(restarted, folder / DATABASE_NAME, aside))
        if restarted and not had_ledger:
            notices.append(missing_ledger(ledger.path))
        files = Worker("files")
        undo.push_async_callback(files.close)
        if signing_key is None:
            made = await files.run(partial(load_or_make_key, folder / KEY_NAME))
            signing_key = made[0]
            notices += [made[1]] if made[1] else []
        receipts = ReceiptFiles(folder / "receipts", files, signing_key)
        await receipts.open()
        snapshots = SnapshotFiles(folder / "snapshots", files)
        roster_files = RosterFiles(folder / "rosters", files)
        personal = StoredPersonalData(
            folder, parts.database, journal=parts.journal, documents=parts.documents, ledger=ledger,
            snapshots=snapshots, roster_files=roster_files, files=files,
        )  # fmt: skip
        audit = SqliteAudit(parts.database, clock=clock, boot_id=boot_id)
        await audit.load()
        undo.pop_all()
    return Store(
        folder=folder,
        journal=parts.journal,
        mirrors=parts.mirrors,
        plans=SqlitePlans(parts.database),
        proofs=parts.proofs,
        runs=parts.runs,
        documents=parts.documents,
        outbox=parts.outbox,
        history=SqliteHistory(parts.database, parts.life.epoch),
        roster_book=SqliteRosterBook(parts.database, clock=clock, trust=trust, boot_id=boot_id, moments=parts.moments),
        ledger=ledger,
        tokens=LedgerTokens(ledger, clock),
        audit=audit,
        replays=SqliteReplays(parts.database, clock=clock, trust=trust, boot_id=boot_id),
        snapshots=snapshots,
        receipts=receipts,
        roster_files=roster_files,
        personal=personal,
        notices=tuple(notices),
        _database=parts.database,
        _files=files,
        _lock=lock,
    )


@dataclass(frozen=True, slots=True)
class _Parts:
    """What hangs on one database."""

    database: Database
    journal: SqliteJournal
    mirrors: SqliteMirrors
    proofs: SqliteProofs
    runs: SqliteRuns
    documents: SqliteDocuments
    outbox: SqliteOutbox
    moments: Moments
    life: Life


@dataclass(frozen=True, slots=True)
class _Beginning:
    """Opens a database, or sets it aside and opens a new one."""

    path: Path
    ledger: LedgerFile
    clock: Clock
    trust: Trust
    boot_id: str

    async def parts(self) -> tuple[_Parts, str, str]:
        """The parts, why the journal was restarted (or empty), and the name of the file set aside (or empty)."""
        aside = _set_aside(self.path) if damage_mark(self.path).exists() else ""
        try:
            parts = await self._attempt()
        except StoreDamaged:
            aside = _set_aside(self.path)
            parts = await self._attempt()
        return parts, "damaged" if aside else parts.life.restarted, aside

    async def _attempt(self) -> _Parts:
        database = Database(self.path, shipped_steps())
        try:
            await database.open()
            life = await begin_life(database, self.ledger)
            mirrors, proofs, runs = SqliteMirrors(), SqliteProofs(self.ledger.revocation_id), SqliteRuns()
            documents, outbox, moments = SqliteDocuments(), SqliteOutbox(database), Moments()
            journal = SqliteJournal(
                database,
                clock=self.clock,
                trust=self.trust,
                boot_id=self.boot_id,
                epoch=life.epoch,
                mirrors=mirrors,
                proofs=proofs,
                runs=runs,
                documents=documents,
                outbox=outbox,
                moments=moments,
            )
            await journal.load()
        except BaseException:
            await database.close()
            raise
        return _Parts(database, journal, mirrors, proofs, runs, documents, outbox, moments, life)


def _prepare(folder: Path, lock: StateLock) -> None:
    try:
        make_private_folder(folder)
        lock.take()
    except OSError as fault:
        raise from_os(fault, folder) from fault
    try:
        sweep(folder)
    except OSError as fault:
        lock.release()
        raise from_os(fault, folder) from fault


def _remove_set_aside(folder: Path, before_s: float) -> int:
    try:
        return remove_set_aside(folder, before_s=before_s)
    except OSError as fault:
        raise from_os(fault, folder) from fault


def _set_aside(path: Path) -> str:
    """Rename a damaged database with its log; the new name, or empty when there was none."""
    name = set_aside_name(path)
    try:
        for suffix in ("", "-wal", "-shm"):
            with contextlib.suppress(FileNotFoundError):
                path.with_name(path.name + suffix).rename(name.with_name(name.name + suffix))
        damage_mark(path).unlink(missing_ok=True)
        sync_folder(path.parent)
    except OSError as fault:
        raise from_os(fault, path) from fault
    return name.name if name.exists() else ""


_LOST = (
    "The journal begins a new epoch, and what the receivers hold is read from them anew; events, changes and the "
    "audit that were only there are missing. Revocations, tokens and the accepted roster stand in the ledger and hold."
)


def _restart_notice(reason: str, path: Path, aside: str) -> str:
    if reason == "damaged":
        return f"The database {path} was damaged and is set aside as {aside}. {_LOST} Delete it when done with it."
    if reason == "missing":
        return f"The database {path} is missing. {_LOST} Put it back from a copy before the next start if there is one."
    return (
        f"The database {path} is an older copy, or belongs to another ledger. The journal goes on with it in a new "
        "epoch; events after that copy are missing. Check the roster in force and the pending changes."
    )
