"""Signatures of the Standard Webhooks specification 1.0.0 (symmetric, `v1`).

HMAC-SHA256 over `id.timestamp.body`, base64; a secret is written `whsec_` and base64 of 24 to 64 bytes. While a
secret is being changed both sign, and the signatures stand in one header with a blank between.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
from collections.abc import Sequence

from gateway.errors import SettingsFault

__all__ = ["SECRET_PREFIX", "read_signing_secret", "sign"]

SECRET_PREFIX = "whsec_"  # noqa: S105 - what every secret begins with
_LEAST_BYTES, _MOST_BYTES = 24, 64


def read_signing_secret(text: str) -> bytes:
    """The key behind `whsec_...`. Raises SettingsFault, which never shows the text."""
    try:
        key = base64.b64decode(text.strip().removeprefix(SECRET_PREFIX), validate=True)
    except binascii.Error:
        key = b""
    if not text.strip().startswith(SECRET_PREFIX) or not _LEAST_BYTES <= len(key) <= _MOST_BYTES:
        raise SettingsFault(
            "A webhook's secret is not in the form of Standard Webhooks.",
            remedy="Write whsec_ and the base64 of 24 to 64 random bytes: "
            "echo whsec_$(head -c 32 /dev/urandom | base64)",
        ) from None
    return key


def sign(keys: Sequence[bytes], message_id: str, timestamp_s: int, body: bytes) -> str:
    """The value of `webhook-signature`: one signature for each key."""
    signed = f"{message_id}.{timestamp_s}.".encode() + body
    return " ".join("v1," + base64.b64encode(hmac.digest(key, signed, hashlib.sha256)).decode() for key in keys)
