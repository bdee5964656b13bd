"""Receipts: what was proven, signed."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import ConfigDict, Field

from gateway.api.models.base import Answer, Query, Time, example

__all__ = ["ReceiptAnswer", "ReceiptKeyAnswer", "ReceiptKeysAnswer", "ReceiptRow", "ReceiptsAnswer", "ReceiptsQuery"]


class ReceiptsQuery(Query):
    """Which receipts; newest first."""

    cursor: str | None = Field(default=None, max_length=200)
    limit: int = Field(default=50, ge=1, le=500)
    receiver: str | None = None


_ROW: dict[str, Any] = {
    "id": "00000007-slip-gate",
    "number": 7,
    "receiver": "slip-gate",
    "done": "sync",
    "time": "2026-03-02T08:00:04.000Z",
    "clock_trusted": True,
    "serial": "FQ-0007",
    "revision": 412,
    "transmitters": 318,
    "roster_digest": "9f2c",
    "roster_revision": None,
    "equal": True,
    "snapshot": "",
    "revoked": 0,
    "plan": "p01hq3k5vw",
    "written": 1,
    "not_done": 0,
    "key": "6b0d3f1c9a7e4428",
    "fault": "",
}


class ReceiptRow(Answer):
    """A receipt in short. All but `id`, `number`, `receiver` and `fault` are null when its file is damaged."""

    id: str
    number: int
    receiver: str
    done: Literal["sync", "revocation", "restore", "clone", "enrolment"] | None = Field(
        default=None, description="What was done and then proven."
    )
    time: Time | None = Field(default=None, description="By a clock that was right only when `clock_trusted` is true.")
    clock_trusted: bool | None = None
    serial: str | None = Field(default=None, description="The receiver's own serial.")
    revision: int | None = Field(default=None, description="The revision of its memory.")
    transmitters: int | None = None
    roster_digest: str | None = Field(default=None, description="Of the roster in force; empty when there was none.")
    roster_revision: int | None = Field(default=None, description="A signed roster's number.")
    equal: bool | None = Field(default=None, description="The memory held exactly what that roster wants of it.")
    snapshot: str | None = Field(default=None, description="What a restore or a clone brought back; else empty.")
    revoked: int | None = Field(default=None, description="How many transmitters a revocation proves to be gone.")
    plan: str | None = Field(default=None, description="Empty for a revocation, which needs no plan.")
    written: int | None = Field(default=None, description="Slots that had to be written; 0 when all was equal already.")
    not_done: int | None = Field(default=None, description="What the roster names and a rule left out.")
    key: str | None = None
    fault: str = Field(description="Why it can't be believed; empty when the gateway's own check of it holds.")


class ReceiptsAnswer(Answer):
    """A page of receipts. `next` is the next page's cursor, null on the last one."""

    model_config = ConfigDict(json_schema_extra=example(receipts=[_ROW], next=None))

    receipts: list[ReceiptRow]
    next: str | None


class ReceiptAnswer(Answer):
    """The receipt itself, as it was signed; docs/receipts.md says how anybody verifies it."""

    model_config = ConfigDict(
        json_schema_extra=example(
            receipt={"format": "gatepost-receipt-2", "done": "sync", "number": 7, "site": "fennel-quay"},
            signature="5VZDAMNg...EAs=",
        )
    )

    receipt: dict[str, Any]
    signature: str = Field(description="Ed25519 over the member `receipt` in canonical JSON (RFC 8785), in base64.")


class ReceiptKeyAnswer(Answer):
    """A public key of this gateway."""

    id: str = Field(description="The first 16 hex digits of the SHA-256 of the key in DER.")
    algorithm: str
    current: bool
    pem: str = Field(description="SubjectPublicKeyInfo, as openssl reads it.")


class ReceiptKeysAnswer(Answer):
    """The key in use first, then those before it."""

    model_config = ConfigDict(
        json_schema_extra=example(
            keys=[
                {"id": "6b0d3f1c9a7e4428", "algorithm": "Ed25519", "current": True, "pem": "-----BEGIN PUBLIC KEY-----"}
            ]
        )
    )

    keys: list[ReceiptKeyAnswer]
