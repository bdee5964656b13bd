"""What was operated lately: kept over restarts, so that no limit and no key is forgotten by one.

An operation is durable before anything is sent for it. How long ago something was sent is counted by the monotonic
clock; after a restart of the machine it counts from our own start, which makes every pause rather too long. Nothing is
ever sent because of what stands here.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from gateway.clock import Clock
from gateway.domain.events import EventDraft
from gateway.domain.operation import OUTPUT_PAUSE_S, TOKEN_MOST, TOKEN_WINDOW_S, Operation, OperationState
from gateway.errors import NotFound, Refused
from gateway.ports import Commit, Documents, Journal

__all__ = ["DOCUMENT", "KeptOperations", "OperationLog", "UsedKey"]

DOCUMENT = "operations"
_MOST = 200
_MOST_KEYS = 1000
_KEY_KEPT = timedelta(hours=24)
_OPEN = (OperationState.WARNING, OperationState.SENDING)


@dataclass(frozen=True, slots=True)
class UsedKey:
    """A digest of caller and key, the operation it was used for, and when."""

    digest: str
    operation: str
    time: datetime


@dataclass(frozen=True, slots=True)
class KeptOperations:
    """The document. Oldest first."""

    operations: tuple[Operation, ...] = ()
    keys: tuple[UsedKey, ...] = ()


class OperationLog:
    """Operations and keys, in memory and in the journal's documents."""

    def __init__(self, *, journal: Journal, documents: Documents, clock: Clock, boot_id: str) -> None:
        self._journal = journal
        self._clock = clock
        self._boot_id = boot_id
        self._started_s = clock.monotonic()
        kept = documents.load(DOCUMENT, KeptOperations) or KeptOperations()
        self._operations = {each.id: each for each in kept.operations}
        self._keys = {each.digest: each for each in kept.keys}

    def cut(self) -> tuple[Operation, ...]:
        """Operations that the end of an earlier run has cut; to be settled at the start, never gone on with."""
        return tuple(each for each in self._operations.values() if each.state in _OPEN)

    def find(self, operation_id: str) -> Operation:
        """Raises NotFound."""
        if operation_id not in self._operations:
            raise NotFound("No operation has this id, or it was long ago.", remedy="List the output's operations.")
        return self._operations[operation_id]

    def of(self, receiver: str, output: int) -> tuple[Operation, ...]:
        """Newest first."""
        found = [each for each in self._operations.values() if (each.receiver, each.output) == (receiver, output)]
        return tuple(reversed(found))

    # --- limits ---

    def check_key(self, asked_by: str, key: str) -> None:
        """Raises Refused with `operation-repeated` when this caller's key was used for a closure already."""
        used = self._keys.get(_digest(asked_by, key)) if key else None
        if used is not None:
            raise Refused(
                f"This Idempotency-Key was used for operation {used.operation}; a second closure is never sent for it.",
                remedy="Look at that operation, and at the gate. To operate once more, ask anew with a new key.",
                code="operation-repeated",
            )

    def check_pauses(self, receiver: str, output: int, asked_by: str, *, besides: str = "") -> None:
        """Raises Refused with `operated-just-now` or `operated-too-often`. `besides` is one that is not counted."""
        counted = [
            (each, self._age_s(each))
            for each in self._operations.values()
            if each.id != besides and each.state is not OperationState.REFUSED
        ]
        if any((each.receiver, each.output) == (receiver, output) and age < OUTPUT_PAUSE_S for each, age in counted):
            raise Refused(
                f"This output was operated less than {OUTPUT_PAUSE_S:g} s ago; nothing was sent.",
                remedy="Look at the gate, and ask again when it has come to rest.",
                code="operated-just-now",
            )
        if sum(each.asked_by == asked_by and age < TOKEN_WINDOW_S for each, age in counted) >= TOKEN_MOST:
            raise Refused(
                f"Outputs were operated {TOKEN_MOST} times within a minute with this token; nothing was sent.",
                remedy="Wait a minute. A gate that has to be operated that often has a fault: have somebody look.",
                code="operated-too-often",
            )

    # --- keeping ---

    async def begin(self, operation: Operation, key: str) -> Operation:
        """Durable when it returns, and counted from now on. Raises StoreUnavailable; it is then forgotten."""
        begun = self._stamped(operation)
        digest = _digest(operation.asked_by, key)
        self._operations[begun.id] = begun
        if key:
            self._keys[digest] = UsedKey(digest, begun.id, self._clock.now())
        try:
            await self._commit()
        except BaseException:
            self._forget(begun.id)
            raise
        return begun

    async def settle(self, operation: Operation, events: Sequence[EventDraft] = ()) -> None:
        """It has come this far. One that was refused frees its key. Raises StoreUnavailable; memory knows it anyway."""
        if operation.state is OperationState.REFUSED:
            self._keys = {digest: each for digest, each in self._keys.items() if each.operation != operation.id}
        self._operations[operation.id] = operation
        await self._commit(events)

    async def touch(self, operation: Operation) -> Operation:
        """Something is about to be sent for it: pauses count from here. Raises StoreUnavailable."""
        stamped = self._stamped(operation)
        await self.settle(stamped)
        return stamped

    def _stamped(self, operation: Operation) -> Operation:
        return replace(operation, boot_id=self._boot_id, last_s=self._clock.monotonic())

    def _age_s(self, operation: Operation) -> float:
        since_s = operation.last_s if operation.boot_id == self._boot_id else self._started_s
        return 0.0 if operation.state in _OPEN else self._clock.monotonic() - since_s

    def _forget(self, operation_id: str) -> None:
        self._operations.pop(operation_id, None)
        self._keys = {digest: each for digest, each in self._keys.items() if each.operation != operation_id}

    async def _commit(self, events: Sequence[EventDraft] = ()) -> None:
        oldest = self._clock.now() - _KEY_KEPT
        self._operations = dict(list(self._operations.items())[-_MOST:])
        keys = [item for item in self._keys.items() if item[1].time > oldest]
        self._keys = dict(keys[-_MOST_KEYS:])
        kept = KeptOperations(tuple(self._operations.values()), tuple(self._keys.values()))
        await self._journal.commit(Commit(events=tuple(events), documents={DOCUMENT: kept}))


def _digest(asked_by: str, key: str) -> str:
    return hashlib.sha256(f"{asked_by}\n{key}".encode()).hexdigest()[:32]
