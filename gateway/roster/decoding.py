"""From a file's bytes to its text, without guessing.

A byte-order mark decides; else the file is UTF-8, strictly; else it is the one encoding that the settings
name, if they name one. Guessing libraries are not used: they read one national encoding as another without
a word (measured), and a name that is silently wrong is worse than a refusal.

This file knows nothing of rows: bytes that aren't UTF-8 are kept as lone surrogates (PEP 383), so that the
reader can say in which row and column the first of them stands.
"""

from __future__ import annotations

import codecs
from dataclasses import dataclass

from gateway.roster.cells import Wrong

__all__ = ["AS_UTF8", "Decoded", "decode"]

AS_UTF8 = "save the file again as CSV in UTF-8 (in the spreadsheet's save dialogue: text CSV, character set UTF-8)"

_FOREIGN: tuple[tuple[bytes, str], ...] = (
    (b"PK\x03\x04", "a spreadsheet workbook or ZIP file, not a CSV"),
    (b"\xd0\xcf\x11\xe0", "a spreadsheet workbook in its old binary form, not a CSV"),
    (b"\x1f\x8b", "a gzip file, not a CSV"),
    (b"%PDF", "a PDF file, not a CSV"),
    (b"{\\rtf", "a text document, not a CSV"),
)


@dataclass(frozen=True, slots=True)
class Decoded:
    """The text; `bad_byte` is the offset of the first byte that isn't UTF-8, if any."""

    text: str
    bad_byte: int | None = None


def decode(data: bytes, fallback: str | None = None) -> Decoded | Wrong:
    """Decode a whole file. Sources: Unicode 16, section 23.8 (byte-order mark); RFC 3629 (UTF-8)."""
    foreign = _foreign(data)
    if foreign is not None:
        return foreign
    if data.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)):
        return Wrong("text in UTF-32", AS_UTF8)
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return _strictly(data, "utf-16")
    if data[:1000].count(0) * 4 > len(data[:1000]):
        return Wrong("text that looks like UTF-16 without a byte-order mark", AS_UTF8)
    return _utf8(data, fallback)


def _foreign(data: bytes) -> Wrong | None:
    """What it is, when it is certainly no CSV."""
    for magic, name in _FOREIGN:
        if data.startswith(magic):
            return Wrong(name, AS_UTF8)
    start = data[:200].removeprefix(codecs.BOM_UTF8).lstrip().lower()
    if start.startswith((b"<!doctype", b"<html")):
        return Wrong("a web page, not a CSV", "check the address: it may be a sign-in or an error page")
    if start.startswith(b"<?xml"):
        return Wrong("an XML document, not a CSV", "save it as XLSX, ODS or CSV")
    return None


def _utf8(data: bytes, fallback: str | None) -> Decoded | Wrong:
    marked = data.startswith(codecs.BOM_UTF8)
    try:
        return Decoded(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        if fallback is not None and not marked:
            return _strictly(data, fallback)
        bad_byte = error.start + (len(codecs.BOM_UTF8) if marked else 0)
        return Decoded(data.decode("utf-8-sig", errors="surrogateescape"), bad_byte)


def _strictly(data: bytes, encoding: str) -> Decoded | Wrong:
    try:
        return Decoded(data.decode(encoding))
    except UnicodeDecodeError as error:
        return Wrong(
            f"byte 0x{data[error.start]:02X} at offset {error.start}, which is not {encoding.upper()}", AS_UTF8
        )
