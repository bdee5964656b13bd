"""Bytes become text by a byte-order mark, strict UTF-8 or the one named encoding, never by a guess."""

from __future__ import annotations

import pytest

from gateway.roster.cells import Wrong
from gateway.roster.decoding import Decoded, decode

TEXT = "serial,holder\n1,Åse Łukasz\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_marked_or_plain_unicode_is_read(encoding: str) -> None:
    """UTF-8 with and without a mark and UTF-16 with one give the same text, without the mark."""
    assert decode(TEXT.encode(encoding)) == Decoded(TEXT)


@pytest.mark.parametrize("mark", [b"\xff\xfe", b"\xfe\xff"])
def test_both_orders_of_utf16(mark: bytes) -> None:
    """The mark decides the order of the bytes (Unicode 16, section 23.8)."""
    codec = "utf-16-le" if mark == b"\xff\xfe" else "utf-16-be"
    assert decode(mark + TEXT.encode(codec)) == Decoded(TEXT)


def test_a_byte_that_is_not_utf8_is_located_and_kept_apart() -> None:
    """Without a fallback the first wrong byte's offset is told, and the text keeps a lone surrogate there."""
    data = "1,Åse".encode("cp1252")
    decoded = decode(data)
    assert isinstance(decoded, Decoded)
    assert decoded.bad_byte == 2
    assert decoded.text == "1,\udcc5se"


def test_the_offset_counts_the_mark() -> None:
    """Offsets are the file's own, byte-order mark included; a marked file never falls back."""
    decoded = decode(b"\xef\xbb\xbfab\xc5", "cp1252")
    assert isinstance(decoded, Decoded)
    assert decoded.bad_byte == 5


def test_the_named_encoding_is_used_only_for_what_is_not_utf8() -> None:
    """A fallback doesn't touch a file that is UTF-8 already."""
    assert decode("Åse".encode("cp1252"), "cp1252") == Decoded("Åse")
    assert decode("Åse".encode(), "cp1252") == Decoded("Åse")


def test_the_named_encoding_is_strict() -> None:
    """0x81 is no character of cp1252: refused, with the byte and where it stands."""
    wrong = decode(b"ab\x81", "cp1252")
    assert isinstance(wrong, Wrong)
    assert "0x81 at offset 2" in wrong.found
    assert "UTF-8" in wrong.remedy


@pytest.mark.parametrize(
    ("data", "found"),
    [
        (b"PK\x03\x04rest", "workbook"),
        (b"\xd0\xcf\x11\xe0", "workbook"),
        (b"\x1f\x8b\x08", "gzip"),
        (b"%PDF-1.7", "PDF"),
        (b"\n <!DOCTYPE html><html>", "web page"),
        (b'<?xml version="1.0"?><office:document/>', "XML"),
        (b'\xef\xbb\xbf<?xml version="1.0"?><Workbook/>', "XML"),
        (TEXT.encode("utf-32"), "UTF-32"),
        (TEXT.encode("utf-16-le"), "UTF-16 without"),
        (b"\xff\xfea", "UTF-16"),
    ],
)
def test_what_is_no_text_is_called_by_its_name(data: bytes, found: str) -> None:
    """Other kinds of files are refused as what they are."""
    wrong = decode(data)
    assert isinstance(wrong, Wrong)
    assert found in wrong.found
    assert wrong.remedy
