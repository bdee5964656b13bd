"""minisign's published format: public keys, detached signatures, and what verifying one means.

::

    untrusted comment: anything
    base64 of "ED", key id (8 bytes), Ed25519 signature (64 bytes) over BLAKE2b-512 of the file
    trusted comment: signed text
    base64 of the global signature (64 bytes) over the 64 bytes above and the trusted comment's text

A public key is base64 of "Ed", key id and 32 bytes. "Ed" in a signature is the older form, which signs the file itself
without a hash; it is refused, so that one file has one form of signature.

Sources: minisign(1) and its format page; RFC 8032 (Ed25519), RFC 7693 (BLAKE2). This file knows nothing of what is
signed and what the trusted comment says.
"""

from __future__ import annotations

import base64
import binascii
import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from gateway.errors import SettingsFault, SourceRefused

__all__ = ["MAX_SIGNATURE_BYTES", "SIGNATURE_ENDING", "PublicKey", "Signature", "read_keys", "verify"]

SIGNATURE_ENDING = ".minisig"
MAX_SIGNATURE_BYTES = 16 * 1024  # minisign's own limits: 1,024 and 8,192 characters of comments
_HASHED, _LEGACY, _KEY = b"ED", b"Ed", b"Ed"
_UNTRUSTED, _TRUSTED = b"untrusted comment: ", b"trusted comment: "
_AGAIN = "sign the file again with minisign -S; if it is being replaced at this moment, it is tried again"


@dataclass(frozen=True, slots=True)
class PublicKey:
    """One key that may sign."""

    id: bytes
    key: Ed25519PublicKey

    @property
    def name(self) -> str:
        """The key id as minisign prints it: 16 hexadecimal digits of a little-endian number."""
        return key_name(self.id)


@dataclass(frozen=True, slots=True)
class Signature:
    """A signature file, read and not yet verified."""

    key_id: bytes
    signature: bytes
    trusted_comment: bytes
    global_signature: bytes


def key_name(key_id: bytes) -> str:
    """A key id as minisign prints it: a little-endian number in hexadecimal, without leading zeros."""
    return f"{int.from_bytes(key_id, 'little'):X}"


def read_keys(texts: Iterable[str]) -> tuple[PublicKey, ...]:
    """The public keys of the settings. Raises SettingsFault."""
    keys: dict[bytes, PublicKey] = {}
    for text in texts:
        key = _read_key(text)
        if key.id in keys:
            remedy = "Leave it out once, or take the other key's own line from its .pub file."
            raise SettingsFault(f"Two public keys have the id {key.name}.", remedy=remedy)
        keys[key.id] = key
    return tuple(keys.values())


def _read_key(text: str) -> PublicKey:
    remedy = "Write the second line of minisign's .pub file: 56 characters that begin with RW."
    try:
        raw = base64.b64decode(text.strip(), validate=True)
    except (binascii.Error, ValueError) as error:
        raise SettingsFault(f"The public key {text[:20]!r} is no base64.", remedy=remedy) from error
    if len(raw) != 2 + 8 + 32 or raw[:2] != _KEY:
        raise SettingsFault(f"The public key {text[:20]!r} is no key of minisign.", remedy=remedy)
    return PublicKey(raw[2:10], Ed25519PublicKey.from_public_bytes(raw[10:]))


def read_signature(data: bytes, what: str) -> Signature:
    """The four lines of a signature file; `what` names the signed file in errors. Raises SourceRefused."""
    lines = [line.removesuffix(b"\r") for line in data.removesuffix(b"\n").split(b"\n")]
    if len(data) > MAX_SIGNATURE_BYTES or len(lines) != 4:
        raise _refused(f"The signature of {what} is cut, or no signature of minisign.")
    if not (lines[0].startswith(_UNTRUSTED) and lines[2].startswith(_TRUSTED)):
        raise _refused(f"The signature of {what} is no signature of minisign.")
    first, overall = (_decoded(line, what) for line in (lines[1], lines[3]))
    if first[:2] == _LEGACY:
        message = f"The signature of {what} is of minisign's older form, which signs without a hash."
        raise SourceRefused(message, remedy="Sign the file again with a current minisign, without -l.")
    if first[:2] != _HASHED or len(first) != 2 + 8 + 64 or len(overall) != 64:
        raise _refused(f"The signature of {what} is no signature of minisign.")
    return Signature(first[2:10], first[10:], lines[2].removeprefix(_TRUSTED), overall)


def _decoded(line: bytes, what: str) -> bytes:
    try:
        return base64.b64decode(line, validate=True)
    except (binascii.Error, ValueError) as error:
        raise _refused(f"The signature of {what} is damaged.") from error


def verify(content: bytes, signature: bytes | None, keys: Iterable[PublicKey], what: str) -> tuple[str, PublicKey]:
    """The trusted comment, and the key that signed both it and `content`. Raises SourceRefused."""
    if not signature:
        remedy = f"Sign it with minisign -S and put the {SIGNATURE_ENDING} file beside it."
        raise SourceRefused(f"There is no signature of {what}, and the settings require one.", remedy=remedy)
    found = read_signature(signature, what)
    key = next((key for key in keys if key.id == found.key_id), None)
    if key is None:
        remedy = "Sign it with a key that the settings name, or add that key's public half to public_keys."
        raise SourceRefused(
            f"The signature of {what} is by the key {key_name(found.key_id)}, which is unknown.", remedy=remedy
        )
    digest = hashlib.blake2b(content, digest_size=64).digest()
    if not _fits(key, found.signature, digest):
        raise _refused(f"The signature of {what} does not fit: the file or the signature was changed.")
    if not _fits(key, found.global_signature, found.signature + found.trusted_comment):
        raise _refused(f"The trusted comment of the signature of {what} was changed.")
    try:
        return found.trusted_comment.decode("utf-8"), key
    except UnicodeDecodeError as error:
        raise _refused(f"The trusted comment of the signature of {what} is no UTF-8.") from error


def _fits(key: PublicKey, signature: bytes, message: bytes) -> bool:
    try:
        key.key.verify(signature, message)
    except InvalidSignature:
        return False
    return True


def _refused(message: str) -> SourceRefused:
    return SourceRefused(message, remedy=f"{_AGAIN[0].upper()}{_AGAIN[1:]}.")
