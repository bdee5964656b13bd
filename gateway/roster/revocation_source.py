"""The signed revocation list from wherever the roster's own kinds of sources reach."""

from __future__ import annotations

import hashlib
import re

from gateway.errors import SourceRefused, SourceUnreachable
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
        """Raises what the source raises, in words about the list, and SourceRefused for a file that is no list."""
        try:
            answer = await self._signed.fetch(tag)
        except (SourceRefused, SourceUnreachable) as fault:
            message, remedy = _of_the_list(fault.message), _of_the_list(fault.remedy)
            raise type(fault)(message, remedy=remedy, code=fault.code) from fault
        if isinstance(answer, NotModified):
            return answer
        entries, faults = read_revocations(answer.roster)
        assert answer.revision is not None  # a signed source never leaves it out
        digest = hashlib.sha256(answer.roster).hexdigest()
        return FetchedRevocations(entries, faults, answer.revision, digest, answer.tag)


def _of_the_list(words: str) -> str:
    """The sources know no other file than the roster; whoever reads this must not look for the fault there."""
    return re.sub(r"\b([Tt])he roster\b", r"\1he revocation list", words)
