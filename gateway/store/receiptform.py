"""A receipt as a document: its form, the bytes that are signed, and whether a signature holds.

::

    { "receipt": { "format": "gatepost-receipt-2", "key": ..., "number": ..., ... }, "signature": "<base64>" }

Signed with Ed25519 (RFC 8032) are the bytes of the member `receipt` in canonical JSON (RFC 8785): a receipt may be
indented, kept in a database or sent by mail and is still the same. Only texts, whole numbers, true, false, null,
arrays and objects occur, so that canonicalising is sorting keys and leaving out blanks. docs/receipts.md tells
outsiders. It needs neither the daemon nor its files.

Receipts of the first form, `gatepost-receipt-1`, are read and verified for as long as anybody has one; they tell of
syncs alone, and lack `done`, `roster.equal`, `snapshot` and `revoked`.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import json
from collections.abc import Collection, Mapping
from typing import Annotated, Any, Literal

import rfc8785
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from gateway.domain.cloudevents import write_time
from gateway.domain.receipt import Receipt
from gateway.domain.wrong_value import tell_key
from gateway.errors import Refused
from gateway.ports import Signer
from gateway.store.signingkey import key_id

__all__ = ["FORMAT", "digest_of", "parse_receipt", "proves_sync", "signed_bytes", "to_document", "verify"]

FORMAT = "gatepost-receipt-2"
_FIRST = "gatepost-receipt-1"
_LARGEST = 2**53 - 1  # whole numbers that every JSON program keeps (RFC 8785, 3.2.2.3)

_Count = Annotated[int, Field(ge=0, le=_LARGEST)]
_Hex64 = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
_Time = Annotated[str, Field(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}\.[0-9]{3}Z$")]


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class _Identity(_Strict):
    name: str
    maker: str
    product: str
    version: str
    serial: str
    map_name: str
    map_version: _Count


class _Memory(_Strict):
    revision: _Count
    transmitters: _Count
    slots_per_block: _Count
    block_crc32: list[Annotated[str, Field(pattern=r"^[0-9a-f]{8}$")]]


class _RosterFirst(_Strict):
    digest: str
    revision: int | None


class _Roster(_Strict):
    digest: _Hex64
    revision: int | None
    equal: bool


class _Plan(_Strict):
    id: str
    written: _Count
    not_done: _Count


class _Clock(_Strict):
    time: _Time
    trusted: bool
    boot: str
    uptime_ms: _Count


class _Common(_Strict):
    key: Annotated[str, Field(pattern=r"^[0-9a-f]{16}$")]
    number: Annotated[int, Field(ge=1, le=_LARGEST)]
    previous: Annotated[str, Field(pattern=r"^([0-9a-f]{64})?$")]
    site: str
    receiver: _Identity
    memory: _Memory
    plan: _Plan
    clock: _Clock


class _StatementFirst(_Common):
    format: Literal["gatepost-receipt-1"]
    roster: _RosterFirst


class _Statement(_Common):
    format: Literal["gatepost-receipt-2"]
    done: Literal["sync", "revocation", "restore", "clone", "enrolment"]
    roster: _Roster | None
    snapshot: str
    revoked: list[_Hex64]


class _Document(_Strict):
    receipt: Annotated[_Statement | _StatementFirst, Field(discriminator="format")]
    signature: Annotated[str, Field(pattern=r"^[A-Za-z0-9+/]{86}==$")]


def to_document(receipt: Receipt, *, number: int, previous: str, signer: Signer) -> dict[str, Any]:
    """The signed document. `previous` is the digest of the receipt before it, empty for the first."""
    identity = receipt.identity
    statement = {
        "format": FORMAT,
        "done": receipt.done.value,
        "key": signer.id,
        "number": number,
        "previous": previous,
        "site": receipt.site,
        "receiver": {
            "name": receipt.receiver,
            "maker": identity.maker,
            "product": identity.product,
            "version": identity.version,
            "serial": identity.serial,
            "map_name": identity.map_name,
            "map_version": identity.map_version,
        },
        "memory": {
            "revision": receipt.revision,
            "transmitters": receipt.transmitters,
            "slots_per_block": receipt.block_slots,
            "block_crc32": [f"{crc:08x}" for crc in receipt.block_crcs],
        },
        "roster": _roster(receipt),
        "plan": {"id": receipt.plan, "written": receipt.written, "not_done": receipt.not_done},
        "snapshot": receipt.snapshot,
        "revoked": sorted(receipt.revoked),
        "clock": {
            "time": write_time(receipt.time),
            "trusted": receipt.clock_trusted,
            "boot": receipt.boot_id,
            "uptime_ms": round(receipt.uptime_s * 1000),
        },
    }
    signature = base64.b64encode(signer.sign(signed_bytes(statement))).decode("ascii")
    return {"receipt": statement, "signature": signature}


def _roster(receipt: Receipt) -> dict[str, Any] | None:
    if not receipt.roster_digest:
        return None
    return {"digest": receipt.roster_digest, "revision": receipt.roster_revision, "equal": receipt.equal}


def proves_sync(statement: Mapping[str, Any]) -> bool:
    """Whether it says that the memory was equal to the roster in force; those of the first form all do."""
    roster = statement["roster"]
    return statement["format"] == _FIRST or (roster is not None and bool(roster["equal"]))


def signed_bytes(statement: Mapping[str, Any]) -> bytes:
    """The bytes that the signature is over: RFC 8785. Raises ValueError for what has no such form."""
    try:
        return rfc8785.dumps(dict(statement))
    except rfc8785.CanonicalizationError as fault:
        raise ValueError(str(fault)) from fault


def digest_of(statement: Mapping[str, Any]) -> str:
    """What the next receipt states as `previous`: SHA-256 of the signed bytes, in hex."""
    return hashlib.sha256(signed_bytes(statement)).hexdigest()


def parse_receipt(content: bytes) -> dict[str, Any]:
    """A document that has the form of a receipt; its signature is another matter.

    Raises Refused with `receipt-damaged`.
    """
    try:
        document = json.loads(content.decode("utf-8"), object_pairs_hook=_once, parse_constant=_no_constant)
        _Document.model_validate(document)
        signed_bytes(document["receipt"])
    except ValidationError as error:
        first = error.errors(include_url=False)[0]
        words = tell_key(first["type"], first.get("ctx", {}), first["input"], first["msg"])
        raise _damaged(f"{'/'.join(map(str, first['loc'])) or 'the document'}: {words}") from error
    except (ValueError, RecursionError) as fault:
        raise _damaged(str(fault)) from fault
    found: dict[str, Any] = document
    return found


def verify(document: Mapping[str, Any], keys: Collection[Ed25519PublicKey]) -> Ed25519PublicKey:
    """The key among `keys` that signed it. Raises Refused with `receipt-unknown-key` or `receipt-forged`.

    The document must come from `parse_receipt`.
    """
    statement = document["receipt"]
    named = [key for key in keys if key_id(key) == statement["key"]]
    if not named:
        known = ", ".join(map(key_id, keys)) or "none"
        raise Refused(
            f"The receipt is signed with the key {statement['key']}; the key given is {known}.",
            remedy="Take the public key from the gateway that the receipt names as its site (gatepost receipt key).",
            code="receipt-unknown-key",
        )
    try:
        signature = base64.b64decode(document["signature"], validate=True)
        named[0].verify(signature, signed_bytes(statement))
    except (InvalidSignature, binascii.Error) as fault:
        raise Refused(
            "The signature does not fit: the receipt was changed after it was signed, or is not of this key.",
            remedy="Ask the gateway for the receipt again (gatepost receipt show), and believe nothing of this one.",
            code="receipt-forged",
        ) from fault
    return named[0]


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """A key that stands twice means something else to every program (RFC 8785, 3.1)."""
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key stands twice")
    return found


def _no_constant(text: str) -> Any:
    raise ValueError(f"{text} is no JSON")


def _damaged(why: str) -> Refused:
    return Refused(
        f"This is no receipt, or it is damaged ({why}).",
        remedy="Ask the gateway for it again: gatepost receipt show ID --out FILE (docs/receipts.md has the form).",
        code="receipt-damaged",
    )
