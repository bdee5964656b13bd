"""minisign's format: what is read, what is verified, and every way in which it can be wrong."""

from __future__ import annotations

import base64

import pytest
from cryptography.exceptions import InvalidSignature
from hypothesis import given
from hypothesis import strategies as st

from gateway.errors import SettingsFault, SourceRefused
from gateway.roster.minisign import PublicKey, read_keys, verify
from tests.fakes.minisigner import Signer

CONTENT = b"serial,holder,rights\n1,Berth 1,1:slip-gate/gate\n"
SIGNER = Signer()
KEYS = read_keys([SIGNER.public])

#: Ed25519, RFC 8032, 7.1: public key, message, signature
RFC_8032 = (
    (
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46b"
        "d25bf5f0595bbe24655141438e7a100b",
    ),
    (
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c"
        "387b2eaeb4302aeeb00d291612bb0c00",
    ),
)


@pytest.mark.parametrize(("public", "message", "signature"), RFC_8032)
def test_the_standards_own_signatures(public: str, message: str, signature: str) -> None:
    """RFC 8032, 7.1, TEST 1 and TEST 2, through a key as the settings write it; one bit changed, and they don't fit."""
    (key,) = read_keys([base64.b64encode(b"Ed" + bytes(8) + bytes.fromhex(public)).decode()])
    raw = bytes.fromhex(signature)
    key.key.verify(raw, bytes.fromhex(message))
    with pytest.raises(InvalidSignature):
        key.key.verify(raw[:-1] + bytes([raw[-1] ^ 1]), bytes.fromhex(message))


def test_a_good_signature() -> None:
    """The trusted comment comes back, and the key with its name as minisign prints it."""
    comment, key = verify(CONTENT, SIGNER.sign(CONTENT, "revision: 7, by the harbour office"), KEYS, "the roster")
    assert comment == "revision: 7, by the harbour office"
    assert key.name == SIGNER.id[::-1].hex().upper()
    windows = SIGNER.sign(CONTENT).replace(b"\n", b"\r\n")
    assert verify(CONTENT, windows, KEYS, "the roster")[0] == "revision: 1"


def test_several_keys_may_be_valid() -> None:
    """While keys are changed, old and new both count."""
    new = Signer(bytes(32), b"new  key")
    keys = read_keys([SIGNER.public, new.public])
    for signer in (SIGNER, new):
        assert verify(CONTENT, signer.sign(CONTENT), keys, "the roster")[1].id == signer.id


def _swap(number: int, line: bytes) -> bytes:
    lines = SIGNER.sign(CONTENT).split(b"\n")
    lines[number] = line
    return b"\n".join(lines)


GOOD = SIGNER.sign(CONTENT)
FORGER = Signer(b"\xff" * 32, SIGNER.id)


@pytest.mark.parametrize(
    ("signature", "words"),
    [
        (None, "no signature"),
        (b"", "no signature"),
        (FORGER.sign(CONTENT), "does not fit"),
        (Signer(id=b"other id").sign(CONTENT), "which is unknown"),
        (SIGNER.sign(CONTENT, legacy=True), "older form"),
        (SIGNER.sign(CONTENT + b"2,Berth 2,1:slip-gate/gate\n"), "does not fit"),
        (GOOD.replace(b"revision: 1", b"revision: 2"), "trusted comment of the signature of the roster was changed"),
        (_swap(3, SIGNER.sign(b"other").split(b"\n")[3]), "trusted comment"),
        (GOOD[:-30], "damaged"),
        (GOOD[: GOOD.index(b"trusted comment: rev")], "cut"),
        (GOOD + b"more\n", "cut"),
        (_swap(0, b"comment: x"), "no signature of minisign"),
        (_swap(2, b"untrusted comment: revision: 1"), "no signature of minisign"),
        (_swap(1, b"!!!"), "damaged"),
        (_swap(1, base64.b64encode(b"XX" + bytes(72))), "no signature of minisign"),
        (_swap(1, base64.b64encode(b"ED" + bytes(70))), "no signature of minisign"),
        (_swap(3, base64.b64encode(bytes(63))), "no signature of minisign"),
        (_swap(0, b"untrusted comment: " + b"x" * 20_000), "cut"),
        (SIGNER.sign(CONTENT, "revision: 1\u00e9").replace("\u00e9".encode(), b"\xe9"), "trusted comment"),
    ],
)
def test_signatures_that_are_refused(signature: bytes | None, words: str) -> None:
    """Each with what is wrong and what to do."""
    with pytest.raises(SourceRefused, match=words) as error:
        verify(CONTENT, signature, KEYS, "the roster")
    assert error.value.remedy


@given(st.integers(0, len(GOOD) - 1), st.integers(1, 255))
def test_no_signed_byte_can_be_changed(offset: int, change: int) -> None:
    """Whatever byte is changed: refused, or only the untrusted comment reads differently."""
    data = GOOD[:offset] + bytes([GOOD[offset] ^ change]) + GOOD[offset + 1 :]
    try:
        comment, _ = verify(CONTENT, data, KEYS, "the roster")
    except SourceRefused:
        return
    assert comment == "revision: 1"
    assert offset < GOOD.index(b"\n") or data.split(b"\n")[1:] == GOOD.split(b"\n")[1:] or offset == len(GOOD) - 1


@pytest.mark.parametrize(
    ("keys", "words"),
    [
        (["rubbish!"], "no base64"),
        ([base64.b64encode(b"Ed" + bytes(39)).decode()], "no key of minisign"),
        ([base64.b64encode(b"ED" + bytes(40)).decode()], "no key of minisign"),
        ([SIGNER.public, SIGNER.public], "Two public keys"),
    ],
)
def test_keys_that_are_none(keys: list[str], words: str) -> None:
    """The settings are refused at the start."""
    with pytest.raises(SettingsFault, match=words) as error:
        read_keys(keys)
    assert error.value.remedy


def test_a_key_with_blanks_around() -> None:
    """As it is copied from a file."""
    (key,) = read_keys([f" {SIGNER.public}\n"])
    assert isinstance(key, PublicKey)
