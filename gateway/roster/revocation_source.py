"""The signed revocation list from wherever the roster's own kinds of sources reach."""

from __future__ import annotations

import hashlib

from gateway.ports import FetchedRevocations, NotModified
from gateway.roster.revocation_text import read_revocations
from gateway.roster.signed_source import SignedSource

__all__ = ["ListSource"]


class ListSource:
    """Implements `ports.RevocationListSource` over a signed source whose only file is the list."""

    def __init__(self, signed: SignedSource) -> None:
        self._signed = signed

    @property
    def place(self) -> str:
        return self._signed.place

    async def fetch(self, tag: str | None) -> FetchedRevocations | NotModified:
        """Raises what the source raises, and SourceRefused for a file that is no list."""
        answer = await self._signed.fetch(tag)
        if isinstance(answer, NotModified):
            return answer
        entries, faults = read_revocations(answer.roster)
        assert answer.revision is not None  # a signed source never leaves it out
        digest = hashlib.sha256(answer.roster).hexdigest()
        return FetchedRevocations(entries, faults, answer.revision, digest, answer.tag)
