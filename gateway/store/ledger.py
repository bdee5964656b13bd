"""The ledger: what must outlive even the database.

Revocations with the slots they took away, their liftings, which roster was last accepted, where it waits, what was
changed at receivers by other hands and what people said about it, which boards are unlocked for people at work, what
people called outputs, the hashes of access tokens, and the lives (epochs) of the journal. Every line is on the disk
before anything else is done because of it, so a damaged or missing database never gives a lost transmitter back its
rights, and never leaves a board unlocked.
"""

from __future__ import annotations

import contextlib
import secrets
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from gateway.domain.drift import Drift
from gateway.domain.enrolment import Override
from gateway.domain.forgetting import Redaction
from gateway.domain.output_names import OutputNaming
from gateway.domain.receiver import Slot
from gateway.domain.revocation import Revocation
from gateway.domain.wait import RosterWait
from gateway.ports import RosterAcceptance, Token
from gateway.store.codec import CodecFault, decode, encode
from gateway.store.faults import from_os
from gateway.store.ledgerlines import LedgerLines, Reading
from gateway.store.reserve import Reserve
from gateway.store.worker import Worker

__all__ = ["KeptToken", "LedgerFile", "Opened", "missing_ledger"]

Entry = dict[str, Any]

#: Lines that no longer matter before the file is written anew at the start (our choice: some 100 kB).
_COMPACT_LINES = 500


@dataclass(frozen=True, slots=True)
class KeptToken:
    """A token and the SHA-256 of its secret, in hex."""

    token: Token
    sha256: str


@dataclass(frozen=True, slots=True)
class Opened:
    """One start or orderly end of the database: its epoch, and a mark that the database holds too."""

    epoch: str
    mark: str


@dataclass(frozen=True, slots=True)
class _Drifted:
    notes: tuple[Drift, ...] = ()
    ended: tuple[_Ended, ...] = ()


@dataclass(frozen=True, slots=True)
class _Ended:
    receiver: str
    serial: int


@dataclass(frozen=True, slots=True)
class _Revoked:
    id: str
    revocation: Revocation
    old_slots: Mapping[str, Slot]


class LedgerFile:
    """`ports.Ledger`, and what tokens and epochs need of it. `open` before anything else."""

    def __init__(self, path: Path, reserve: Reserve) -> None:
        self.path = path
        self._lines = LedgerLines(path)
        self._reserve = reserve
        self._worker = Worker("ledger")
        self._revoked: dict[int, _Revoked] = {}
        self._accepted: RosterAcceptance | None = None
        self._accepted_list: RosterAcceptance | None = None
        self._waits: dict[str, RosterWait] = {}
        self._drifts: dict[tuple[str, int], Drift] = {}
        self._overrides: dict[int, Override] = {}
        self._tokens: dict[str, KeptToken] = {}
        self._unlocked: frozenset[str] = frozenset()
        self._namings: dict[str, OutputNaming] = {}
        self._opened: Opened | None = None

    async def open(self) -> tuple[str, ...]:
        """Read everything; sentences about what was damaged. Raises StoreUnavailable."""
        return await self._worker.run(self._open)

    async def revoke(self, revocation: Revocation, old_slots: Mapping[str, Slot]) -> None:
        """Durable when it returns. Revoked again, what was held before the first time stays known."""
        earlier = self._revoked.get(revocation.serial)
        slots = {**(earlier.old_slots if earlier else {}), **old_slots}
        revoked = _Revoked(secrets.token_hex(6), replace(revocation, states={}), slots)
        await self._append({"type": "revoked", **encode(revoked)})

    async def lift(self, serial: int, asked_by: str, reason: str, time: datetime) -> None:
        await self._append(
            {"type": "lifted", "serial": serial, "asked_by": asked_by, "reason": reason, "time": encode(time)}
        )

    def revocations(self) -> dict[int, Revocation]:
        return {serial: revoked.revocation for serial, revoked in self._revoked.items()}

    def revocation_id(self, serial: int) -> str | None:
        """Names the revocation in force of a serial; another one when it is revoked anew."""
        revoked = self._revoked.get(serial)
        return revoked.id if revoked else None

    def old_slots(self, serial: int) -> Mapping[str, Slot]:
        """What each receiver held of a revoked serial, by receiver."""
        revoked = self._revoked.get(serial)
        return dict(revoked.old_slots) if revoked else {}

    async def accept_roster(self, acceptance: RosterAcceptance) -> None:
        await self._append({"type": "accepted", **encode(acceptance)})

    @property
    def accepted(self) -> RosterAcceptance | None:
        return self._accepted

    async def accept_list(self, acceptance: RosterAcceptance) -> None:
        await self._append({"type": "list-accepted", **encode(acceptance)})

    @property
    def accepted_list(self) -> RosterAcceptance | None:
        """The revocation list that was last followed to its end."""
        return self._accepted_list

    async def begin_wait(self, wait: RosterWait) -> None:
        await self._append({"type": "wait-began", **encode(wait)})

    async def end_wait(self, receiver: str) -> None:
        await self._append({"type": "wait-ended", "receiver": receiver})

    def waits(self) -> dict[str, RosterWait]:
        return dict(self._waits)

    async def keep_drift(self, notes: Collection[Drift], ended: Collection[tuple[str, int]] = ()) -> None:
        """See `ports.DriftLedger`: one line for all of it."""
        drifted = _Drifted(tuple(notes), tuple(_Ended(receiver, serial) for receiver, serial in ended))
        if notes or ended:
            await self._append({"type": "drift", **encode(drifted)})

    def drifts(self) -> dict[tuple[str, int], Drift]:
        return dict(self._drifts)

    async def keep_override(self, override: Override) -> None:
        await self._append({"type": "override-kept", **encode(override)})

    async def end_override(self, serial: int) -> None:
        await self._append({"type": "override-ended", "serial": serial})

    def overrides(self) -> dict[int, Override]:
        return dict(self._overrides)

    async def note_unlocked(self, receiver: str) -> None:
        """See `ports.UnlockLedger`."""
        if receiver not in self._unlocked:
            await self._append({"type": "unlocked", "receiver": receiver})

    async def note_locked(self, receiver: str) -> None:
        if receiver in self._unlocked:
            await self._append({"type": "locked", "receiver": receiver})

    def unlocked(self) -> frozenset[str]:
        return self._unlocked

    async def keep_naming(self, naming: OutputNaming) -> None:
        """See `ports.NameLedger`: one line has all names of a receiver."""
        await self._append({"type": "outputs-named", **encode(naming)})

    def namings(self) -> dict[str, OutputNaming]:
        return dict(self._namings)

    async def add_token(self, kept: KeptToken) -> None:
        await self._append({"type": "token-added", **encode(kept)})

    async def remove_token(self, token_id: str) -> None:
        await self._append({"type": "token-removed", "id": token_id})

    def tokens(self) -> tuple[KeptToken, ...]:
        """In the order in which they were added."""
        return tuple(self._tokens.values())

    async def redact(self, redaction: Redaction) -> int:
        """Take names out of every line, also of those that no longer matter; how many had one.

        The file is written anew. Raises StoreUnavailable, and everything is then as before.
        """
        return await self._worker.run(lambda: self._redact(redaction))

    async def note_opened(self, opened: Opened) -> None:
        await self._append({"type": "opened", **encode(opened)})

    @property
    def opened(self) -> Opened | None:
        """The newest mark, None in a new ledger."""
        return self._opened

    async def close(self) -> None:
        """Let go of the file. May be called twice."""
        await self._worker.close(self._lines.close)

    async def _append(self, entry: Entry) -> None:
        await self._worker.run(lambda: self._append_now(entry))

    def _append_now(self, entry: Entry) -> None:
        try:
            self._lines.append(entry)
        except OSError:
            self._reserve.release()
            try:
                self._lines.append(entry)
            except OSError as fault:
                raise from_os(fault, self.path) from fault
        else:
            self._reserve.keep()
        self._apply(entry)

    def _redact(self, redaction: Redaction) -> int:
        before = self._lines.entries
        after = [redaction(entry) for entry in before]
        changed = sum(1 for old, new in zip(before, after, strict=True) if old != new)
        if changed:
            living = [redaction(entry) for entry in self._living()]
            try:
                self._lines.rewrite(after)
            except OSError as fault:
                raise from_os(fault, self.path) from fault
            for entry in living:  # not `after`: there a lifted revocation would be in force for a moment
                self._apply(entry)
        return changed

    def _open(self) -> tuple[str, ...]:
        try:
            reading, aside = self._lines.open()
        except OSError as fault:
            raise from_os(fault, self.path) from fault
        unread = sum(1 for entry in reading.entries if not self._applied(entry))
        if len(reading.entries) - len(self._living()) > _COMPACT_LINES and not unread:
            with contextlib.suppress(OSError):
                self._lines.rewrite(self._living())
        self._reserve.keep()
        return tuple(self._notices(reading, aside, unread))

    def _applied(self, entry: Entry) -> bool:
        try:
            self._apply(entry)
        except (CodecFault, KeyError):
            return False
        return True

    def _apply(self, entry: Entry) -> None:
        """Take one line into memory. A line of a type that this program doesn't know changes nothing."""
        match entry["type"]:
            case "revoked":
                revoked = decode(_Revoked, entry)
                self._revoked = {**self._revoked, revoked.revocation.serial: revoked}
            case "lifted":
                self._revoked = {s: revoked for s, revoked in self._revoked.items() if s != entry["serial"]}
            case "accepted":
                self._accepted = decode(RosterAcceptance, entry)
            case "list-accepted":
                self._accepted_list = decode(RosterAcceptance, entry)
            case "wait-began" | "wait-ended" as word:
                waits = {name: wait for name, wait in self._waits.items() if name != entry["receiver"]}
                began = {entry["receiver"]: decode(RosterWait, entry)} if word == "wait-began" else {}
                self._waits = {**waits, **began}
            case "drift":
                drifted = decode(_Drifted, entry)
                gone = {(each.receiver, each.serial) for each in drifted.ended}
                noted = {**self._drifts, **{each.key: each for each in drifted.notes}}
                self._drifts = {key: each for key, each in noted.items() if key not in gone}
            case "override-kept":
                override = decode(Override, entry)
                others = {serial: kept for serial, kept in self._overrides.items() if serial != override.serial}
                self._overrides = {**others, override.serial: override}
            case "override-ended":
                self._overrides = {s: kept for s, kept in self._overrides.items() if s != entry["serial"]}
            case "unlocked" | "locked" as word:
                name = frozenset({entry["receiver"]})
                self._unlocked = self._unlocked | name if word == "unlocked" else self._unlocked - name
            case "outputs-named":
                naming = decode(OutputNaming, entry)
                self._namings = {**self._namings, naming.receiver: naming}
            case _:
                self._apply_own(entry)

    def _apply_own(self, entry: Entry) -> None:
        """The lines that are about the gateway itself."""
        match entry["type"]:
            case "token-added":
                kept = decode(KeptToken, entry)
                self._tokens = {**self._tokens, kept.token.id: kept}
            case "token-removed":
                self._tokens = {name: kept for name, kept in self._tokens.items() if name != entry["id"]}
            case "opened":
                self._opened = decode(Opened, entry)

    def _living(self) -> list[Entry]:
        """The lines that still matter, in an order that gives the same state."""
        lines: list[Entry] = [{"type": "revoked", **encode(revoked)} for revoked in self._revoked.values()]
        if self._accepted is not None:
            lines.append({"type": "accepted", **encode(self._accepted)})
        if self._accepted_list is not None:
            lines.append({"type": "list-accepted", **encode(self._accepted_list)})
        lines += [{"type": "wait-began", **encode(wait)} for wait in self._waits.values()]
        if self._drifts:
            lines.append({"type": "drift", **encode(_Drifted(tuple(self._drifts.values())))})
        lines += [{"type": "override-kept", **encode(override)} for override in self._overrides.values()]
        lines += [{"type": "unlocked", "receiver": name} for name in sorted(self._unlocked)]
        lines += [{"type": "outputs-named", **encode(naming)} for naming in self._namings.values()]
        lines += [{"type": "token-added", **encode(kept)} for kept in self._tokens.values()]
        if self._opened is not None:
            lines.append({"type": "opened", **encode(self._opened)})
        return lines

    def _notices(self, reading: Reading, aside: str, unread: int) -> list[str]:
        notices = []
        if reading.torn:
            notices.append(
                f"The last line of {self.path} was cut by a power failure and is dropped; it was never acknowledged. "
                "If somebody was revoking a transmitter or adding a token at that moment, do it again."
            )
        if reading.damaged:
            numbers = ", ".join(map(str, reading.damaged))
            kept = f" The file as found is kept as {aside}." if aside else ""
            notices.append(
                f"Of {self.path} the damaged lines {numbers} are passed over, all others hold.{kept} "
                "Compare revocations and tokens with your own list, and enter what is missing again."
            )
        if unread:
            notices.append(
                f"{unread} lines of {self.path} are not understood and change nothing; they are kept. "
                "They come from another version of this program."
            )
        return notices


def missing_ledger(path: Path) -> str:
    """The sentence for a ledger that is gone while its database is there."""
    return (
        f"The ledger {path} is missing; revocations and access tokens are gone with it. "
        "Put it back from a backup, or revoke and add them again."
    )
