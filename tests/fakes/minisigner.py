"""Signatures in minisign's format from a fixed secret, and all the ways to make wrong ones.

`tests/peers` holds this signer to the real program: what it writes, minisign accepts.
"""

from __future__ import annotations

import base64
import hashlib
from dataclasses import dataclass

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

__all__ = ["Signer"]


@dataclass(frozen=True, slots=True)
class Signer:
    """One key pair; `id` is its eight bytes."""

    secret: bytes = bytes(range(32))
    id: bytes = b"quay key"

    @property
    def _key(self) -> Ed25519PrivateKey:
        return Ed25519PrivateKey.from_private_bytes(self.secret)

    @property
    def public(self) -> str:
        """The second line of the .pub file."""
        raw = self._key.public_key().public_bytes(Encoding.Raw, PublicFormat.Raw)
        return base64.b64encode(b"Ed" + self.id + raw).decode()

    def sign(self, content: bytes, comment: str = "revision: 1", *, legacy: bool = False) -> bytes:
        """A whole signature file."""
        message = content if legacy else hashlib.blake2b(content, digest_size=64).digest()
        signature = self._key.sign(message)
        text = comment.encode()
        lines = (
            b"untrusted comment: signature by hand",
            base64.b64encode((b"Ed" if legacy else b"ED") + self.id + signature),
            b"trusted comment: " + text,
            base64.b64encode(self._key.sign(signature + text)),
        )
        return b"\n".join(lines) + b"\n"
