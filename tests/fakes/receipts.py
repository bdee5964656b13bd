"""Receipts in memory, signed for real with a key that everybody knows, and statements to sign."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

from gateway.domain.receipt import Receipt, ReceiptOf
from gateway.domain.receiver import Identity
from gateway.errors import NotFound, StoreUnavailable
from gateway.ports import KeptReceipt, ReceiptKey
from gateway.store.receiptform import digest_of, proves_sync, to_document
from gateway.store.signingkey import SigningKey, public_pem

__all__ = ["TEST_KEY", "MemoryReceipts", "a_receipt"]

#: RFC 8032, 7.1, TEST 1: known to everybody, so that it can be no gateway's.
TEST_KEY = SigningKey(
    Ed25519PrivateKey.from_private_bytes(
        bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
    )
)


def a_receipt(receiver: str = "slip-gate", **other: object) -> Receipt:
    """A receiver with two blocks, proven on a March morning."""
    plain = Receipt(
        site="fennel-quay",
        receiver=receiver,
        identity=Identity("Fennel", "Yard receiver", "1.2", "FQ-0007", "reference", 1),
        done=ReceiptOf.SYNC,
        equal=True,
        revision=412,
        block_slots=32,
        block_crcs=(0xCBF43926, 0x0000002A),
        transmitters=40,
        roster_digest="9f2c" * 16,
        roster_revision=None,
        plan="p01hq3k5vw",
        written=1,
        not_done=0,
        time=datetime(2026, 3, 2, 8, 0, 4, tzinfo=UTC),
        clock_trusted=True,
        boot_id="boot-1",
        uptime_s=12.3456,
    )
    return replace(plain, **other)  # type: ignore[arg-type]


class MemoryReceipts:
    """`ports.Receipts`. `full` makes it fail as a full disk does."""

    def __init__(self) -> None:
        self.kept: list[KeptReceipt] = []
        self.full = False

    async def add(self, receipt: Receipt) -> KeptReceipt:
        if self.full:
            raise StoreUnavailable("There is no room.", remedy="Free some disk space.")
        number = len(self.kept) + 1
        previous = digest_of(self.kept[-1].document["receipt"]) if self.kept else ""
        document = to_document(receipt, number=number, previous=previous, signer=TEST_KEY)
        self.kept.append(KeptReceipt(f"{number:08d}-{receipt.receiver}", number, receipt.receiver, document))
        return self.kept[-1]

    async def newest(self, *, receiver: str | None = None, limit: int = 50, before: int = 0) -> tuple[KeptReceipt, ...]:
        wanted = [kept for kept in reversed(self.kept) if receiver in (None, kept.receiver)]
        return tuple([kept for kept in wanted if before <= 0 or kept.number < before][:limit])

    async def last_before(self, receiver: str, time: datetime) -> KeptReceipt | None:
        for kept in await self.newest(receiver=receiver):
            statement = kept.document["receipt"]
            clock = statement["clock"]
            known = clock["trusted"] and datetime.fromisoformat(clock["time"]) < time
            if known and proves_sync(statement):
                return kept
        return None

    async def load(self, receipt_id: str) -> KeptReceipt:
        found = next((kept for kept in self.kept if kept.id == receipt_id), None)
        if found is None:
            raise NotFound(f"There is no receipt {receipt_id}.", remedy="List the receipts.")
        return found

    async def keys(self) -> tuple[ReceiptKey, ...]:
        return (ReceiptKey(TEST_KEY.id, public_pem(TEST_KEY.public), current=True),)

    async def prune(self, before: datetime) -> int:
        return 0
