"""Receipts of what was proven, and the key that signs them; implemented by `store`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Protocol

from gateway.domain.receipt import Receipt

__all__ = ["KeptReceipt", "ReceiptKey", "Receipts", "Signer"]


class Signer(Protocol):
    """The gateway's own key."""

    @property
    def id(self) -> str:
        """Names the key: the first 16 hex digits of the SHA-256 of its public key (DER, SubjectPublicKeyInfo)."""
        ...

    def sign(self, content: bytes) -> bytes:
        """The Ed25519 signature (RFC 8032), 64 bytes."""
        ...


@dataclass(frozen=True, slots=True)
class ReceiptKey:
    """A public key that receipts are, or were, signed with. `pem` is the SubjectPublicKeyInfo as openssl writes it."""

    id: str
    pem: str
    current: bool


@dataclass(frozen=True, slots=True)
class KeptReceipt:
    """A receipt as it is kept. `document` is the whole of it; `fault` says why it can't be believed, empty when it can.

    A damaged file has a `fault` and an empty document: that it was there is not hidden.
    """

    id: str
    number: int
    receiver: str
    document: Mapping[str, Any]
    fault: str = ""


class Receipts(Protocol):
    """Signed receipts, numbered by this gateway in the order in which they were made."""

    async def add(self, receipt: Receipt) -> KeptReceipt:
        """Number, sign and keep it; durable when it returns. Raises StoreUnavailable."""
        ...

    async def newest(self, *, receiver: str | None = None, limit: int = 50, before: int = 0) -> tuple[KeptReceipt, ...]:
        """Newest first; those with a number below `before` (0: from the end)."""
        ...

    async def last_before(self, receiver: str, time: datetime) -> KeptReceipt | None:
        """The newest good one that proves this receiver equal to a roster, of known time and before `time`."""
        ...

    async def load(self, receipt_id: str) -> KeptReceipt:
        """Raises NotFound."""
        ...

    async def keys(self) -> tuple[ReceiptKey, ...]:
        """The key in use first, then those that were in use before."""
        ...

    async def prune(self, before: datetime) -> int:
        """Remove what is older, and what is beyond the stated number; the newest of each receiver stays. How many."""
        ...
