"""The gateway's own Ed25519 key, which signs receipts.

A PKCS #8 file in PEM (RFC 5958, RFC 8410), as openssl writes and reads it, of mode 0600. It is made at the first
start, or the settings name another file or credential. The public key goes beside the receipts and stays there when
another takes its place, so that old receipts can be verified for as long as they are kept.
"""

from __future__ import annotations

import contextlib
import hashlib
import re
import stat
from pathlib import Path

from cryptography.exceptions import UnsupportedAlgorithm
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
    load_pem_public_key,
)

from gateway.errors import SettingsFault
from gateway.store.faults import from_os
from gateway.store.files import replace_file, set_aside_name, sync_folder

__all__ = ["SigningKey", "key_id", "load_or_make_key", "parse_private_key", "parse_public_key", "public_pem"]

_RAW_HEX = re.compile(r"[0-9a-fA-F]{64}")
_ID_DIGITS = 16


class SigningKey:
    """`ports.Signer`."""

    def __init__(self, key: Ed25519PrivateKey) -> None:
        self._key = key
        self._public = key.public_key()
        self._id = key_id(self._public)

    @property
    def id(self) -> str:
        return self._id

    @property
    def public(self) -> Ed25519PublicKey:
        """What verifies."""
        return self._public

    def sign(self, content: bytes) -> bytes:
        return self._key.sign(content)


def key_id(public: Ed25519PublicKey) -> str:
    """The first 16 hex digits of `openssl pkey -pubin -in key.pem -outform DER | sha256sum`."""
    der = public.public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    return hashlib.sha256(der).hexdigest()[:_ID_DIGITS]


def public_pem(public: Ed25519PublicKey) -> str:
    """The public key as a PEM of a SubjectPublicKeyInfo."""
    return public.public_bytes(Encoding.PEM, PublicFormat.SubjectPublicKeyInfo).decode("ascii")


def parse_private_key(pem: str, place: str) -> SigningKey:
    """The key behind a PEM. Raises SettingsFault that names `place` and never shows content."""
    try:
        key = load_pem_private_key(pem.encode("utf-8"), password=None)
    except (ValueError, TypeError, UnsupportedAlgorithm):
        raise _no_key(place) from None  # the fault could show what stands there
    if not isinstance(key, Ed25519PrivateKey):
        raise _no_key(place)
    return SigningKey(key)


def parse_public_key(text: str) -> Ed25519PublicKey:
    """A public key from a PEM, or from the 64 hex digits of its 32 bytes. Raises ValueError."""
    if _RAW_HEX.fullmatch(text.strip()):
        return Ed25519PublicKey.from_public_bytes(bytes.fromhex(text.strip()))
    try:
        key = load_pem_public_key(text.encode("utf-8"))
    except UnsupportedAlgorithm as fault:
        raise ValueError("not an Ed25519 key") from fault
    if not isinstance(key, Ed25519PublicKey):
        raise ValueError("not an Ed25519 key")  # noqa: TRY004 - the text is wrong, not its type
    return key


def load_or_make_key(path: Path) -> tuple[SigningKey, str]:
    """The key in this file, made now when there is none; and a sentence for people when it had to be replaced.

    A file that is no key is set aside: receipts go on with a new one, and whoever verifies must be told.
    Raises StoreUnavailable.
    """
    try:
        if not path.exists():
            return _make(path), ""
        if stat.S_IMODE(path.stat().st_mode) & 0o077:
            path.chmod(0o600)
        try:
            return parse_private_key(path.read_text("ascii"), str(path)), ""
        except (SettingsFault, UnicodeDecodeError):
            aside = set_aside_name(path)
            path.rename(aside)
            sync_folder(path.parent)
            key = _make(path)
    except OSError as fault:
        raise from_os(fault, path) from fault
    return key, (
        f"The key {path} that signs receipts was damaged and is set aside as {aside.name}. Receipts are signed with "
        f"the new key {key.id} from now on: give its public key (gatepost receipt key) to whoever verifies them."
    )


def _make(path: Path) -> SigningKey:
    key = Ed25519PrivateKey.generate()
    with contextlib.suppress(FileExistsError):
        path.parent.mkdir(mode=0o700, parents=True)
    replace_file(path, key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()))
    return SigningKey(key)


def _no_key(place: str) -> SettingsFault:
    return SettingsFault(
        f"{place} holds no Ed25519 private key in PEM without a passphrase.",
        remedy="Make one with: openssl genpkey -algorithm ed25519 -out FILE; chmod 600 FILE",
    )
