"""The body of an answer, unpacked by ourselves, so that no bomb unfolds beyond the limit.

A client library that unpacks a whole chunk at once has held its thousandfold size in memory before anyone
can count it; `zlib` with a `max_length` never does. A packed body that stops early is refused: it has its own
end mark. Sources: RFC 1952 (gzip), RFC 1950 (zlib), RFC 9110, 8.4.1 (content codings).
"""

from __future__ import annotations

import zlib
from collections.abc import AsyncIterable

from gateway.errors import SourceRefused, SourceUnreachable

__all__ = ["ACCEPTED_CODINGS", "read_body"]

ACCEPTED_CODINGS = "gzip, deflate"
_WINDOW_BITS = {"gzip": 16 + zlib.MAX_WBITS, "x-gzip": 16 + zlib.MAX_WBITS, "deflate": zlib.MAX_WBITS}


async def read_body(chunks: AsyncIterable[bytes], coding: str, max_bytes: int) -> bytes:
    """All of the body, at most `max_bytes` once unpacked. Raises SourceRefused, SourceUnreachable when cut."""
    coding = coding.strip().lower()
    if coding in ("", "identity"):
        return await _plain(chunks, max_bytes)
    if coding not in _WINDOW_BITS:
        raise SourceRefused(f"The roster came packed as {coding!r}.", remedy="Let the server send it plain or as gzip.")
    return await _packed(chunks, zlib.decompressobj(_WINDOW_BITS[coding]), max_bytes)


async def _plain(chunks: AsyncIterable[bytes], max_bytes: int) -> bytes:
    body = bytearray()
    async for chunk in chunks:
        body += chunk
        if len(body) > max_bytes:
            raise _too_large(max_bytes)
    return bytes(body)


async def _packed(chunks: AsyncIterable[bytes], unpack: zlib._Decompress, max_bytes: int) -> bytes:
    body = bytearray()
    async for chunk in chunks:
        try:
            body += unpack.decompress(chunk, max_bytes + 1 - len(body))
        except zlib.error as error:
            raise _damaged() from error
        if unpack.unused_data:  # a second member, or rubbish: part of the roster could be lost with it
            raise _damaged()
        if len(body) > max_bytes:
            raise _too_large(max_bytes)
    if not unpack.eof:
        raise SourceUnreachable("The roster's packed form stops early.", remedy="Nothing to do: it is tried again.")
    return bytes(body)


def _damaged() -> SourceRefused:
    remedy = "Look at the file on its server; it is tried again."
    return SourceRefused("The roster's packed form is damaged.", remedy=remedy)


def _too_large(max_bytes: int) -> SourceRefused:
    remedy = "Correct the address: no roster is that large."
    return SourceRefused(f"The roster is larger than {max_bytes >> 20} MiB.", remedy=remedy)
